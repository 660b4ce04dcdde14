//! Tables for spreadsheets, as RFC 4180 writes them.

/// A line of cells.
pub(super) fn line<T: AsRef<str>>(cells: &[T]) -> String {
    let cells: Vec<String> = cells.iter().map(|text| cell(text.as_ref())).collect();
    cells.join(",") + "\r\n"
}

/// A text as a cell. One that a spreadsheet would take for a formula gets an apostrophe in front.
fn cell(text: &str) -> String {
    let is_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let apostrophe = if is_formula { "'" } else { "" };
    match text.contains(['"', ',', '\r', '\n']) {
        true => format!("\"{apostrophe}{}\"", text.replace('"', "\"\"")),
        false => format!("{apostrophe}{text}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_quoted_where_they_must_and_none_is_a_formula() {
        assert_eq!(
            line(&["VM-1", "a,b", "a \"b\"", "a\r\nb", "", "25 \u{b0}C"]),
            "VM-1,\"a,b\",\"a \"\"b\"\"\",\"a\r\nb\",,25 \u{b0}C\r\n"
        );
        for formula in ["=1+1", "+1", "-1", "@now", "\tx"] {
            assert_eq!(line(&[formula]), format!("'{formula}\r\n"));
        }
        assert_eq!(line(&["=a,\"b\""]), "\"'=a,\"\"b\"\"\"\r\n");
    }
}
