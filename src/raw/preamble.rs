//! Lines above, between and below the rows.

use crate::raw::guess::PreambleLine;

/// Parts a line of text into key and value: `key: value`, `key = value`, `key,value` or the like.
pub(super) fn preamble_line(line: u64, text: &str) -> PreambleLine {
    let text = text.trim();
    let bare = text.trim_start_matches(['#', '%', ';', '/', '*']).trim();
    // Delimiters at the line's end are left by spreadsheets.
    let bare = bare.trim_end_matches([',', ';', '\t', '|', ' ']);
    for mark in [":", "=", "\t", ";", ","] {
        if let Some((key, value)) = bare.split_once(mark) {
            let (key, value) = (unquoted(key), unquoted(value.trim_start_matches([',', ';', '\t', ' '])));
            let plausible = !key.is_empty()
                && key.chars().count() <= 40
                && !key.starts_with(|c: char| c.is_ascii_digit());
            if plausible && !value.is_empty() {
                return PreambleLine { line, key, value };
            }
        }
    }
    PreambleLine { line, key: String::new(), value: unquoted(bare) }
}

fn unquoted(text: &str) -> String {
    text.trim().trim_matches('"').trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_and_values() {
        let parts = |text: &str| {
            let line = preamble_line(7, text);
            (line.key, line.value)
        };
        let pair = |key: &str, value: &str| (key.to_owned(), value.to_owned());
        assert_eq!(parts("# Barometer: 29.12 inHg"), pair("Barometer", "29.12 inHg"));
        assert_eq!(parts("Start time: 14:05:06"), pair("Start time", "14:05:06"));
        assert_eq!(parts("Air temp = 21.4 degC"), pair("Air temp", "21.4 degC"));
        assert_eq!(parts("\"Operator\",\"MK\",,,"), pair("Operator", "MK"));
        assert_eq!(parts("Third run of the morning"), pair("", "Third run of the morning"));
        assert_eq!(parts("14:05 engine started"), pair("", "14:05 engine started"));
    }
}
