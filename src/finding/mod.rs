//! What is said about a record: one finding, its places, one total order.

use serde::Serialize;

/// From the mildest to the worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    Notice,
    Warning,
    Error,
}

impl Severity {
    pub fn name(self) -> &'static str {
        match self {
            Severity::Notice => "notice",
            Severity::Warning => "warning",
            Severity::Error => "error",
        }
    }
}

/// A place in a file of the book, with the line itself so that a report needs no second look at the file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// Relative to the book's root, with `/`.
    pub path: String,
    /// Counts from 1.
    pub line: u32,
    /// Counts characters from 1.
    pub column: u32,
    /// Characters of the line that the place covers.
    pub width: u32,
    /// JSON pointer of the key; empty for the whole file.
    pub pointer: String,
    /// The line as written.
    pub excerpt: String,
}

impl Place {
    /// A place that is the file as a whole.
    pub fn whole(path: &str) -> Place {
        Place {
            path: path.to_owned(),
            line: 1,
            column: 1,
            width: 0,
            pointer: String::new(),
            excerpt: String::new(),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Related {
    pub place: Place,
    pub message: String,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    pub rule: &'static str,
    pub severity: Severity,
    pub place: Place,
    pub message: String,
    pub help: String,
    pub commit: Option<String>,
    pub related: Vec<Related>,
}

impl Finding {
    fn key(&self) -> (&str, u32, u32, &str, &str, &str) {
        let at = &self.place;
        let first = (at.path.as_str(), at.line, at.column);
        (
            first.0,
            first.1,
            first.2,
            self.rule,
            &at.pointer,
            &self.message,
        )
    }
}

impl Ord for Finding {
    fn cmp(&self, other: &Finding) -> std::cmp::Ordering {
        self.key()
            .cmp(&other.key())
            .then_with(|| self.severity.cmp(&other.severity))
            .then_with(|| self.help.cmp(&other.help))
            .then_with(|| self.commit.cmp(&other.commit))
            .then_with(|| self.related.cmp(&other.related))
    }
}

impl PartialOrd for Finding {
    fn partial_cmp(&self, other: &Finding) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

/// How many findings of each severity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    pub error: usize,
    pub warning: usize,
    pub notice: usize,
}

impl Counts {
    pub fn of(findings: &[Finding]) -> Counts {
        let mut counts = Counts::default();
        for finding in findings {
            match finding.severity {
                Severity::Error => counts.error += 1,
                Severity::Warning => counts.warning += 1,
                Severity::Notice => counts.notice += 1,
            }
        }
        counts
    }
}
