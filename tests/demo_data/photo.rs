//! The photo of the burette at the skimmed head, drawn: one bit a pixel, as small as a picture can be.

const WIDTH: usize = 96;
const HEIGHT: usize = 176;
/// The glass, in pixels from the left, and the scale from the top: 40 to 48 cc, 20 pixels each.
const GLASS: std::ops::RangeInclusive<usize> = 36..=60;
const TOP: usize = 8;
const CC: usize = 20;
/// What was read off, in tenths of a cc: the mean of the four chambers.
const READ: usize = 436;

/// The picture as a PNG file.
pub(super) fn png() -> Vec<u8> {
    let mut rows = Vec::with_capacity(HEIGHT * (WIDTH / 8 + 1));
    for y in 0..HEIGHT {
        // No filter.
        rows.push(0);
        for byte in 0..WIDTH / 8 {
            let pixel = |bit: usize| u8::from(!is_dark(byte * 8 + bit, y)) << (7 - bit);
            rows.push((0..8).map(pixel).sum());
        }
    }
    let mut header = Vec::new();
    header.extend(u32::try_from(WIDTH).expect("small").to_be_bytes());
    header.extend(u32::try_from(HEIGHT).expect("small").to_be_bytes());
    header.extend([1, 0, 0, 0, 0]);
    let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
    chunk(&mut file, b"IHDR", &header);
    chunk(&mut file, b"IDAT", &stored(&rows));
    chunk(&mut file, b"IEND", &[]);
    file
}

/// Glass, scale and liquid.
fn is_dark(x: usize, y: usize) -> bool {
    let level = TOP + (READ - 400) * CC / 10;
    let wall = x == *GLASS.start() || x == *GLASS.end();
    let mark = y >= TOP && (y - TOP).is_multiple_of(CC / 10) && y < TOP + 8 * CC;
    let long = y >= TOP && (y - TOP).is_multiple_of(CC);
    let reach = if long { 20 } else { 6 };
    let scale = mark && x > *GLASS.end() && x <= GLASS.end() + reach;
    // The liquid is dotted, its surface a line.
    let liquid = GLASS.contains(&x) && y >= level && (y == level || (x + y).is_multiple_of(4));
    wall || scale || liquid
}

/// Bytes as a zlib stream that is stored, not packed: the same with every library.
fn stored(bytes: &[u8]) -> Vec<u8> {
    let length = u16::try_from(bytes.len()).expect("one block holds it");
    let mut out = vec![0x78, 0x01, 1];
    out.extend(length.to_le_bytes());
    out.extend((!length).to_le_bytes());
    out.extend(bytes);
    let (mut a, mut b) = (1_u32, 0_u32);
    for byte in bytes {
        a = (a + u32::from(*byte)) % 65_521;
        b = (b + a) % 65_521;
    }
    out.extend((b << 16 | a).to_be_bytes());
    out
}

fn chunk(file: &mut Vec<u8>, kind: &[u8; 4], body: &[u8]) {
    file.extend(u32::try_from(body.len()).expect("small").to_be_bytes());
    let begin = file.len();
    file.extend(kind);
    file.extend(body);
    let mut check = u32::MAX;
    for byte in &file[begin..] {
        check ^= u32::from(*byte);
        for _ in 0..8 {
            check = if check & 1 == 1 { check >> 1 ^ 0xedb8_8320 } else { check >> 1 };
        }
    }
    file.extend((!check).to_be_bytes());
}
