//! Text encodings: which one a file is in, and a stream of UTF-8 out of any of them.

use std::io::{ErrorKind, Read};

use crate::record::columns::Encoding;

/// The encoding that the head of a file is in, and why where it is not certain.
pub(super) fn detect(sample: &[u8], whole: bool) -> (Encoding, Option<&'static str>) {
    if sample.starts_with(b"\xef\xbb\xbf") {
        return (Encoding::Utf8, None);
    }
    if sample.starts_with(b"\xff\xfe") {
        return (Encoding::Utf16Le, None);
    }
    if sample.starts_with(b"\xfe\xff") {
        return (Encoding::Utf16Be, None);
    }
    // Tables are mostly digits: in UTF-16 without a mark, every second byte is then zero.
    let head = &sample[..sample.len().min(4096)];
    let zeros = |parity: usize| head.iter().skip(parity).step_by(2).filter(|b| **b == 0).count();
    let pairs = head.len() / 2;
    if pairs >= 2 {
        let (even, odd) = (zeros(0), zeros(1));
        if odd * 10 >= pairs * 7 && even * 10 <= pairs {
            return (
                Encoding::Utf16Le,
                Some("every second byte is zero and no byte order mark stands in front"),
            );
        }
        if even * 10 >= pairs * 7 && odd * 10 <= pairs {
            return (
                Encoding::Utf16Be,
                Some("every first byte is zero and no byte order mark stands in front"),
            );
        }
    }
    match std::str::from_utf8(sample) {
        Ok(_) => (Encoding::Utf8, None),
        Err(error) if error.error_len().is_none() && !whole => (Encoding::Utf8, None),
        Err(_) => (Encoding::Windows1252, Some("some bytes are not UTF-8; read as Windows-1252 (Latin-1)")),
    }
}

/// The encoding's decoder by name.
fn decoder(encoding: Encoding) -> encoding_rs::Decoder {
    let known = match encoding {
        Encoding::Utf16Le => encoding_rs::UTF_16LE,
        Encoding::Utf16Be => encoding_rs::UTF_16BE,
        Encoding::Windows1252 => encoding_rs::WINDOWS_1252,
        _ => encoding_rs::UTF_8,
    };
    known.new_decoder_with_bom_removal()
}

/// Decodes a whole sample; broken sequences become replacement characters.
pub(super) fn decode(sample: &[u8], encoding: Encoding) -> String {
    let mut text = String::new();
    let mut decoder = decoder(encoding);
    text.reserve(decoder.max_utf8_buffer_length(sample.len()).unwrap_or(sample.len()));
    // The reserved length is the most that the decoder can write, so one call decodes everything.
    let _ = decoder.decode_to_string(sample, &mut text, false);
    text
}

/// A stream of UTF-8 bytes out of an input in any encoding.
///
/// UTF-8 input is handed on unchecked, without its byte order mark; cells that are not numbers are checked later.
pub(super) struct TextStream<'a> {
    input: &'a mut dyn Read,
    decoder: Option<encoding_rs::Decoder>,
    raw: Vec<u8>,
    ended: bool,
    started: bool,
}

impl<'a> TextStream<'a> {
    pub(super) fn new(input: &'a mut dyn Read, encoding: Encoding) -> Self {
        let decoder = (encoding != Encoding::Utf8).then(|| decoder(encoding));
        Self { input, decoder, raw: Vec::new(), ended: false, started: false }
    }

    /// Whether everything has been handed out.
    pub(super) fn ended(&self) -> bool {
        self.ended
    }

    /// Appends about `want` more bytes to `out`, less only at the end.
    pub(super) fn fill(&mut self, out: &mut Vec<u8>, want: usize) -> std::io::Result<()> {
        if self.ended {
            return Ok(());
        }
        match &mut self.decoder {
            None => {
                let before = out.len();
                let got = read_up_to(self.input, out, want)?;
                self.ended = got < want;
                if !self.started && out[before..].starts_with(b"\xef\xbb\xbf") {
                    out.drain(before..before + 3);
                }
                self.started = true;
            }
            Some(decoder) => {
                self.raw.clear();
                let got = read_up_to(self.input, &mut self.raw, want)?;
                self.ended = got < want;
                let before = out.len();
                let room = decoder.max_utf8_buffer_length(got).unwrap_or(got * 3 + 16);
                out.resize(before + room, 0);
                let (_, _, written, _) = decoder.decode_to_utf8(&self.raw, &mut out[before..], self.ended);
                out.truncate(before + written);
            }
        }
        Ok(())
    }
}

/// Bytes that are asked for at first.
const FIRST: usize = 16 << 10;

/// Reads until `want` bytes have come or the input ends, and says how many came.
fn read_up_to(input: &mut dyn Read, out: &mut Vec<u8>, want: usize) -> std::io::Result<usize> {
    let before = out.len();
    let mut got = 0;
    while got < want {
        // Room for what a small file has; more only where more comes.
        if out.len() == before + got {
            out.resize(before + want.min((got * 4).max(FIRST)), 0);
        }
        match input.read(&mut out[before + got..]) {
            Ok(0) => break,
            Ok(count) => got += count,
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => {
                out.truncate(before);
                return Err(error);
            }
        }
    }
    out.truncate(before + got);
    Ok(got)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn streamed(bytes: &[u8], encoding: Encoding, step: usize) -> String {
        let mut input = bytes;
        let mut stream = TextStream::new(&mut input, encoding);
        let mut out = Vec::new();
        while !stream.ended() {
            stream.fill(&mut out, step).unwrap();
        }
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn every_encoding_streams_the_same_text_whatever_the_step() {
        let text = "Öltemp;21,5 °C\r\n";
        let utf16le: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let utf16be: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
        let windows: Vec<u8> = text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
        for step in [1, 2, 3, 7, 1000] {
            assert_eq!(streamed(text.as_bytes(), Encoding::Utf8, step), text);
            assert_eq!(streamed(&utf16le, Encoding::Utf16Le, step), text);
            assert_eq!(streamed(&utf16be, Encoding::Utf16Be, step), text);
            assert_eq!(streamed(&windows, Encoding::Windows1252, step), text);
        }
        assert_eq!(streamed(b"\xef\xbb\xbfab", Encoding::Utf8, 100), "ab");
        assert_eq!(detect(&utf16le, true).0, Encoding::Utf16Le);
        assert_eq!(detect(&utf16be, true).0, Encoding::Utf16Be);
        assert_eq!(detect(&windows, true).0, Encoding::Windows1252);
        assert_eq!(detect(text.as_bytes(), true).0, Encoding::Utf8);
        assert_eq!(detect(&text.as_bytes()[..1], false).0, Encoding::Utf8);
    }
}
