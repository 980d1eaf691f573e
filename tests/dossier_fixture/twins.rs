//! Two files with one SHA-1: the first 320 bytes of both files of the first collision that was made for all of it.
//!
//! Source: M. Stevens, E. Bursztein, P. Karpman, A. Albertini, Y. Markov, The first collision for full SHA-1, CRYPTO 2017, table 1
//! (prefix of 192 bytes and two pairs of near-collision blocks). SHA-1 of both is [`TWINS`].

/// The SHA-1 of both.
pub(crate) const TWINS: &str = "f92d74e3874587aaf443d1db961d4e26dde13e9c";

const PREFIX: &str = "255044462d312e330a25e2e3cfd30a0a0a312030206f626a0a3c3c2f57696474682032203020522f4865696768742033203020522f5479\
     70652034203020522f537562747970652035203020522f46696c7465722036203020522f436f6c6f7253706163652037203020522f4c65\
     6e6774682038203020522f42697473506572436f6d706f6e656e7420383e3e0a73747265616d0affd8fffe00245348412d312069732064\
     6561642121212121852fec092339759c39b1a1c63c4c97e1fffe01";
const ONE: &str = "7f46dc93a6b67e013b029aaa1db2560b45ca67d688c7f84b8c4c791fe02b3df614f86db1690901c56b45c1530afedfb76038e972722fe7\
     ad728f0e4904e046c230570fe9d41398abe12ef5bc942be33542a4802d98b5d70f2a332ec37fac3514e74ddc0f2cc1a874cd0c78305a21\
     566461309789606bd0bf3f98cda8044629a1";
const OTHER: &str = "7346dc9166b67e118f029ab621b2560ff9ca67cca8c7f85ba84c79030c2b3de218f86db3a90901d5df45c14f26fedfb3dc38e96ac22fe7\
     bd728f0e45bce046d23c570feb141398bb552ef5a0a82be331fea48037b8b5d71f0e332edf93ac3500eb4ddc0decc1a864790c782c7621\
     5660dd309791d06bd0af3f98cda4bc4629b1";

/// Both files.
pub(crate) fn twins() -> [Vec<u8>; 2] {
    [ONE, OTHER].map(|blocks| {
        let digits = format!("{PREFIX}{blocks}");
        (0..digits.len())
            .step_by(2)
            .map(|at| u8::from_str_radix(&digits[at..at + 2], 16).expect("digits"))
            .collect()
    })
}
