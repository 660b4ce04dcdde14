//! Findings for a person at a terminal. The only file that knows miette.

use super::{Findings, cut_round, printable, summary};
use crate::finding::{Finding, Place, Severity};
use miette::{
    Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteError,
    MietteSpanContents, SourceCode, SourceSpan, SpanContents,
};
use std::fmt::{Display, Formatter};

/// How the terminal wants it.
#[derive(Clone, Copy, Debug)]
pub struct Style {
    /// Columns.
    pub width: usize,
    pub colour: bool,
}

/// The one line of a file that a place covers.
struct Excerpt<'a> {
    place: &'a Place,
    line: String,
    start: usize,
    length: usize,
}

impl<'a> Excerpt<'a> {
    fn of(place: &'a Place, width: usize) -> Excerpt<'a> {
        let line = printable(&place.excerpt).replace('\t', " ");
        // Numbers and frame take about eight columns.
        let room = width.saturating_sub(9).max(20);
        let (line, column) = cut_round(&line, place.column as usize, room);
        let column = column.saturating_sub(1);
        let offset = |characters: usize| {
            line.char_indices()
                .nth(characters)
                .map_or(line.len(), |(at, _)| at)
        };
        let start = offset(column);
        let end = offset(column + place.width as usize);
        Excerpt {
            place,
            start,
            length: end.saturating_sub(start).min(line.len() - start),
            line,
        }
    }
}

impl SourceCode for Excerpt<'_> {
    fn read_span<'a>(
        &'a self,
        _span: &SourceSpan,
        _before: usize,
        _after: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        Ok(Box::new(MietteSpanContents::new_named(
            printable(&self.place.path),
            self.line.as_bytes(),
            SourceSpan::new(0.into(), self.line.len()),
            self.place.line.saturating_sub(1) as usize,
            0,
            1,
        )))
    }
}

impl std::fmt::Debug for Excerpt<'_> {
    fn fmt(&self, formatter: &mut Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(&self.line)
    }
}

#[derive(Debug)]
struct Page<'a> {
    message: String,
    severity: Option<Severity>,
    rule: Option<&'a str>,
    commit: Option<&'a str>,
    help: Option<String>,
    excerpt: Excerpt<'a>,
    label: Option<String>,
    related: Vec<Page<'a>>,
}

impl<'a> Page<'a> {
    fn of(finding: &'a Finding, width: usize) -> Page<'a> {
        let mut message = printable(&finding.message);
        let excerpt = Excerpt::of(&finding.place, width);
        if excerpt.line.is_empty() {
            message = format!("{}: {message}", printable(&finding.place.path));
        }
        Page {
            message,
            severity: Some(finding.severity),
            rule: Some(finding.rule),
            commit: finding.commit.as_deref(),
            help: (!finding.help.is_empty()).then(|| printable(&finding.help)),
            label: Some("here".to_owned()),
            excerpt,
            related: finding
                .related
                .iter()
                .map(|related| {
                    let excerpt = Excerpt::of(&related.place, width.saturating_sub(7));
                    let message = printable(&related.message);
                    Page {
                        message: match excerpt.line.is_empty() {
                            true => format!("{}: {message}", printable(&related.place.path)),
                            false => message,
                        },
                        severity: Some(Severity::Notice),
                        rule: None,
                        commit: None,
                        help: None,
                        label: None,
                        excerpt,
                        related: Vec::new(),
                    }
                })
                .collect(),
        }
    }
}

impl Display for Page<'_> {
    fn fmt(&self, formatter: &mut Formatter<'_>) -> std::fmt::Result {
        formatter.write_str(&self.message)
    }
}

impl std::error::Error for Page<'_> {}

impl Diagnostic for Page<'_> {
    fn code<'a>(&'a self) -> Option<Box<dyn Display + 'a>> {
        let (severity, rule) = (self.severity?, self.rule?);
        let commit = match self.commit {
            Some(id) => format!(" (commit {})", id.get(..12).unwrap_or(id)),
            None => String::new(),
        };
        Some(Box::new(format!("{}: {rule}{commit}", severity.name())))
    }

    fn severity(&self) -> Option<miette::Severity> {
        self.severity.map(|severity| match severity {
            Severity::Error => miette::Severity::Error,
            Severity::Warning => miette::Severity::Warning,
            Severity::Notice => miette::Severity::Advice,
        })
    }

    fn help<'a>(&'a self) -> Option<Box<dyn Display + 'a>> {
        let help = self.help.as_ref()?;
        Some(Box::new(help))
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        (!self.excerpt.line.is_empty()).then_some(&self.excerpt as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        // Without a line of its own a page would be drawn with that of the page around it.
        if self.excerpt.line.is_empty() {
            return None;
        }
        // A label of no length at the end of a line is not drawn: it moves back by one.
        let length = self.excerpt.length.max(1);
        let start = self
            .excerpt
            .start
            .min(self.excerpt.line.len().saturating_sub(length));
        let mut start = start;
        while !self.excerpt.line.is_char_boundary(start) {
            start -= 1;
        }
        let span = SourceSpan::new(start.into(), length);
        Some(Box::new(std::iter::once(
            LabeledSpan::new_primary_with_span(self.label.clone(), span),
        )))
    }

    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn Diagnostic> + 'a>> {
        if self.related.is_empty() {
            return None;
        }
        Some(Box::new(
            self.related.iter().map(|page| page as &dyn Diagnostic),
        ))
    }
}

pub fn render(report: &Findings<'_>, style: Style) -> String {
    let theme = match style.colour {
        true => GraphicalTheme::unicode(),
        false => GraphicalTheme::unicode_nocolor(),
    };
    let handler = GraphicalReportHandler::new_themed(theme)
        .with_width(style.width)
        .with_links(false)
        // A path or a command that is cut at its hyphens cannot be copied.
        .with_word_splitter(textwrap::WordSplitter::NoHyphenation)
        .with_word_separator(textwrap::WordSeparator::AsciiSpace)
        .with_show_related_as_nested(true);
    let mut text = String::new();
    for finding in report.findings {
        let page = Page::of(finding, style.width);
        if handler.render_report(&mut text, &page).is_err() {
            text += &format!("{}: {}\n", finding.rule, page.message);
        }
        text.push('\n');
    }
    let lines: Vec<&str> = text.lines().map(str::trim_end).collect();
    lines.join("\n") + if lines.is_empty() { "" } else { "\n" } + &summary(report) + "\n"
}
