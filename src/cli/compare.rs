//! `compare`: what a change brings, for its reviewer.

use super::{Common, End, Ended, Trouble, output, progress};
use crate::finding::Severity;
use crate::history::compare::compare;
use crate::report;
use crate::report::forge::{Forge, Kind};
use crate::rules::{self, Wanted};
use crate::source::disk::Disk;
use crate::source::git::Repository;
use crate::source::range::{NoRange, Range};
use crate::source::{Source, SourceError};
use crate::text::nearest;
use clap::ValueEnum;
use std::path::PathBuf;

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    /// For a pull request
    Markdown,
}

#[derive(Clone, Copy, ValueEnum)]
#[value(rename_all = "lower")]
enum ForgeName {
    GitHub,
    GitLab,
    Gitea,
}

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The change: A..B is what B has and A has not, such as main..my-branch; B is HEAD where left out
    #[arg(value_name = "A..B")]
    range: String,
    #[arg(long, value_name = "FORMAT", default_value = "markdown")]
    format: Format,
    /// Write it to a file instead of standard output
    #[arg(long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Give each check that awaits a review a link to this forge's editor
    #[arg(long, value_name = "NAME", requires = "url")]
    forge: Option<ForgeName>,
    /// The address of the repository's page on the forge
    #[arg(long, value_name = "URL", requires = "forge", value_parser = page)]
    url: Option<String>,
    /// The branch that reviews are committed to; else the one that B names
    #[arg(long, value_name = "NAME", requires = "forge")]
    branch: Option<String>,
    /// Who reviews; else the reviewer fills it in
    #[arg(long, value_name = "ID", requires = "forge")]
    reviewer: Option<String>,
}

/// An address that can stand in a link as it is.
fn page(text: &str) -> Result<String, String> {
    let fits = |byte: u8| byte.is_ascii_alphanumeric() || b"-._~:/%@[]".contains(&byte);
    let below = ["https://", "http://"]
        .iter()
        .find_map(|scheme| text.strip_prefix(scheme));
    match below {
        Some(below) if !below.trim_matches('/').is_empty() && text.bytes().all(fits) => {
            Ok(text.trim_end_matches('/').to_owned())
        }
        _ => Err(
            "write the address of the repository's page, such as https://forge.example/lab/book"
                .to_owned(),
        ),
    }
}

pub(crate) fn run(common: &Common, arguments: &Arguments) -> Ended {
    let folder = match &common.book {
        Some(folder) => folder.clone(),
        None => Disk::find(&common.folder())
            .map(|disk| disk.root)
            .unwrap_or_else(|_| common.folder()),
    };
    let repository = Repository::of(&folder)?;
    let range = Range::of(&repository, &arguments.range).map_err(|error| match error {
        NoRange::Asked { message, help } => Trouble::Usage(format!("{message}: {help}")),
        NoRange::Source(error) => Trouble::Unusable(error),
    })?;
    let forge = forge(&repository, &range, arguments)?;
    let clock = common.clock();
    let judge = |source: &dyn Source, wanted: &Wanted<'_>| {
        progress::watched(common.quiet, source, |source| {
            rules::run(source, clock, wanted)
        })
    };
    let brought = compare(&repository, &range, clock, &judge)?.ok_or_else(|| {
        let place = match repository.prefix.as_str() {
            "" => "at the top of the repository",
            prefix => prefix,
        };
        Trouble::Unusable(SourceError::new(
            format!(
                "neither {} nor the commit before the change holds a book {place}",
                range.to
            ),
            "name the book's folder with --book DIR",
        ))
    })?;
    if let Some(reviewer) = &arguments.reviewer
        && brought.after.people.lacks(reviewer)
    {
        let meant = match nearest(reviewer, brought.after.people.ids()) {
            Some(other) => format!("did you mean {other}?"),
            None => "the folder people/ has those who may".to_owned(),
        };
        return Err(Trouble::Usage(format!(
            "there is no person {reviewer} in the book: {meant}"
        )));
    }
    let Format::Markdown = arguments.format;
    let text = report::compare::render(&range, &brought, forge.as_ref());
    match &arguments.output {
        Some(file) => output::write_report(file, text.as_bytes())?,
        None => output::say(&text),
    }
    let is_error = |severity: Severity| severity == Severity::Error;
    let mut findings = brought.findings.iter();
    Ok(match findings.any(|finding| is_error(finding.severity)) {
        true => End::Refused,
        false => End::Fine,
    })
}

fn forge(
    repository: &Repository,
    range: &Range,
    arguments: &Arguments,
) -> Result<Option<Forge>, Trouble> {
    let (Some(name), Some(url)) = (arguments.forge, &arguments.url) else {
        return Ok(None);
    };
    let branch = arguments.branch.clone().or_else(|| range.branch.clone());
    let branch = branch.filter(|branch| !branch.is_empty()).ok_or_else(|| {
        Trouble::Usage(format!(
            "{} names no branch, and a review is committed to one: name it with --branch NAME",
            range.to
        ))
    })?;
    Ok(Some(Forge {
        kind: match name {
            ForgeName::GitHub => Kind::GitHub,
            ForgeName::GitLab => Kind::GitLab,
            ForgeName::Gitea => Kind::Gitea,
        },
        url: url.clone(),
        branch,
        reviewer: arguments.reviewer.clone(),
        prefix: repository.prefix.clone(),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_cannot_leave_its_link() {
        assert_eq!(
            page("https://forge.example/lab/book/").as_deref(),
            Ok("https://forge.example/lab/book")
        );
        for wrong in [
            "forge.example/lab",
            "https://",
            "javascript:alert(1)",
            "https://forge.example/a>b",
            "https://forge.example/a b",
            "https://forge.example/a?b",
            "https://forge.example/(a)",
        ] {
            assert!(page(wrong).is_err(), "{wrong}");
        }
    }
}
