//! Links that open a forge's editor on a filled-in review.

use crate::history::compare::NewCheck;
use crate::parse::layout::{CheckName, unfit_id};
use std::fmt::Write as _;

/// What stands for a reviewer who is not known.
const NOBODY: &str = "REVIEWER";

/// How a forge wants to be asked for a new file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    GitHub,
    GitLab,
    Gitea,
}

pub struct Forge {
    pub kind: Kind,
    /// Of the repository's page, without a slash at its end.
    pub url: String,
    pub branch: String,
    pub reviewer: Option<String>,
    /// The book's folder in the repository, empty or ending in `/`.
    pub prefix: String,
}

/// A review that only lacks time and decision.
pub struct Offer {
    pub url: String,
    /// Where the file goes, from the top of the repository.
    pub path: String,
    /// The text of the file, where the link cannot carry it.
    pub content: Option<String>,
}

/// Percent-encoded, but for letters, digits and what is told to stay.
fn encoded(text: &str, stays: &str) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        let mark = char::from(byte);
        if byte.is_ascii_alphanumeric() || "-._~".contains(mark) || stays.contains(mark) {
            out.push(mark);
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

impl Forge {
    /// `None` where the check's own name is at fault, so that no review of it would have a place.
    pub fn offer(&self, new: &NewCheck) -> Option<Offer> {
        let name = CheckName::parse(&new.id)?;
        if unfit_id(&name.instrument).is_some() {
            return None;
        }
        let reviewer = self.reviewer.as_deref().unwrap_or(NOBODY);
        let number = (1..).find(|number| {
            let file = format!("{reviewer}-{number}.toml");
            !new.reviews
                .iter()
                .any(|other| other.eq_ignore_ascii_case(&file))
        })?;
        let path = format!(
            "{}{}/{reviewer}-{number}.toml",
            self.prefix,
            name.reviews_folder()
        );
        let remark = match self.reviewer {
            Some(_) => "",
            None => " # your id, in the name of this file too",
        };
        let content = format!(
            "format = 1\ncheck = \"{}\"\nsha256 = \"{}\"\nreviewer = \"{reviewer}\"{remark}\ndecided = # when, as YYYY-MM-DDTHH:MM:SS\ndecision = # \"approve\" or \"reject\"\n#comment = # needed with \"reject\"\n",
            name.id(),
            new.sha256,
        );
        let (url, branch) = (&self.url, encoded(&self.branch, "/"));
        let value = encoded(&content, "");
        Some(match self.kind {
            Kind::GitHub => Offer {
                url: format!(
                    "{url}/new/{branch}?filename={}&value={value}",
                    encoded(&path, "")
                ),
                content: None,
                path,
            },
            Kind::GitLab => Offer {
                url: format!("{url}/-/new/{branch}?file_name={}", encoded(&path, "")),
                content: Some(content),
                path,
            },
            Kind::Gitea => Offer {
                url: format!("{url}/_new/{branch}/{}?value={value}", encoded(&path, "/")),
                content: None,
                path,
            },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_letter_or_digit_is_encoded() {
        assert_eq!(encoded("a b/c\"\n#é(", "/"), "a%20b/c%22%0A%23%C3%A9%28");
        assert_eq!(encoded("a/b", ""), "a%2Fb");
    }
}
