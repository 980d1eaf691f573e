//! Cells of tables for other programs (RFC 4180). Spreadsheets run what looks like a formula, so text that does gets an
//! apostrophe in front; figures keep their sign.

use std::borrow::Cow;

/// What makes a spreadsheet take a cell for a formula.
const FORMULA: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// A text as no spreadsheet takes it for a formula.
pub fn plain_text(text: &str) -> Cow<'_, str> {
    if text.starts_with(FORMULA) && !is_figure(text) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// A sign, a digit, and nothing behind it that a formula could be made of.
fn is_figure(text: &str) -> bool {
    let Some(rest) = text.strip_prefix(['+', '-']) else { return false };
    rest.starts_with(|c: char| c.is_ascii_digit() || c == '.')
        && rest
            .chars()
            .all(|c| c.is_alphanumeric() || matches!(c, ' ' | '.' | ',' | '±' | '°' | '·' | '%' | '/'))
}

/// A cell, quoted where it must be.
pub fn csv_cell(text: &str) -> String {
    let text = plain_text(text);
    if text.contains([',', '"', '\r', '\n']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.into_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_text_and_figures_stay() {
        for formula in
            ["=1+1", "+cmd|' /C calc'!A0", "-2+3+cmd|x!A0", "@SUM(A1)", "\t=1", "\r=1", "-", "+(1)"]
        {
            assert_eq!(plain_text(formula), format!("'{formula}"));
        }
        for figure in ["-3 mm", "+5.20 N·m", "-12.5 ±0.1 °C", "-.5", "h2/a", "", "a=b"] {
            assert_eq!(plain_text(figure), figure);
        }
        assert_eq!(csv_cell("=HYPERLINK(1,2)"), "\"'=HYPERLINK(1,2)\"");
        assert_eq!(csv_cell("a \"b\""), "\"a \"\"b\"\"\"");
    }
}
