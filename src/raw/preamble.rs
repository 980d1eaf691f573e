//! Lines above, between and below the rows.

use crate::raw::guess::PreambleLine;
use crate::raw::sniff::is_unit;
use crate::raw::sniff::name_and_unit;

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

impl PreambleLine {
    /// Key and value with the unit behind the number, wherever the line states it: `Air Temp (°F): 72` and
    /// `Air Temp,72,°F` say `72 °F` of `Air Temp`.
    pub fn stated(&self) -> (String, String) {
        let (key, unit) = name_and_unit(&self.key);
        let value = self.value.trim();
        if let Some((number, unit)) = value.rsplit_once([',', ';', '\t'])
            && unit.chars().any(char::is_alphabetic)
            && is_unit(unit.trim().trim_matches('"'))
        {
            return (key, format!("{} {}", unquoted(number), unquoted(unit)));
        }
        let bare = value.bytes().any(|byte| byte.is_ascii_digit())
            && value
                .bytes()
                .all(|byte| byte.is_ascii_digit() || matches!(byte, b'.' | b',' | b'-' | b'+' | b' '));
        match unit {
            Some(unit) if bare && key != self.key => (key, format!("{value} {unit}")),
            _ => (key, value.to_owned()),
        }
    }
}

fn unquoted(text: &str) -> String {
    text.trim().trim_matches('"').trim().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_behind_the_key_or_in_the_next_cell_belongs_to_the_value() {
        let stated = |text: &str| preamble_line(7, text).stated();
        let pair = |key: &str, value: &str| (key.to_owned(), value.to_owned());
        assert_eq!(stated("Air Temp (°F): 72"), pair("Air Temp", "72 °F"));
        assert_eq!(stated("Baro [inHg],29.12"), pair("Baro", "29.12 inHg"));
        assert_eq!(stated("Air temp;21,4;degC"), pair("Air temp", "21,4 degC"));
        assert_eq!(stated("Barometer: 29.12 inHg"), pair("Barometer", "29.12 inHg"));
        assert_eq!(stated("Humidity = 45%"), pair("Humidity", "45%"));
        assert_eq!(stated("Air temp: 21,4"), pair("Air temp", "21,4"));
        assert_eq!(stated("Third run of the morning"), pair("", "Third run of the morning"));
    }

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
