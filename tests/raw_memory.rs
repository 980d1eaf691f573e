//! A file of any size is read in bounded memory.
#![cfg(target_os = "linux")]
#![expect(clippy::disallowed_methods, reason = "the system's account of memory is a file")]
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::io::Read;

use mulebook::raw;
use mulebook::record::channel::ChannelQuantity;
use mulebook::record::columns::{Column, Columns, Layout, SegmentRule};

/// A long log, made line by line while it is read; time restarts every million rows.
struct Log {
    row: u64,
    rows: u64,
    line: Vec<u8>,
    at: usize,
}

impl Read for Log {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let mut written = 0;
        while written < buffer.len() {
            if self.at == self.line.len() {
                if self.row == self.rows {
                    break;
                }
                let n = self.row % 1_000_000;
                self.line =
                    format!("{}.{:02},{},{}\n", n / 100, n % 100, 3000 + n % 5000, 60 + n % 13).into_bytes();
                self.at = 0;
                self.row += 1;
            }
            let count = (self.line.len() - self.at).min(buffer.len() - written);
            buffer[written..written + count].copy_from_slice(&self.line[self.at..self.at + count]);
            self.at += count;
            written += count;
        }
        Ok(written)
    }
}

fn peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|l| l.starts_with("VmHWM:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[test]
fn memory_does_not_grow_with_the_file() {
    let rows = 6_000_000;
    let mut log = Log { row: 0, rows, line: b"Time,RPM,Torque\n".to_vec(), at: 0 };
    let columns = Columns {
        name: "log".to_owned(),
        layout: Layout { segments: SegmentRule::TimeRestarts, ..Layout::default() },
        channels: vec![
            Column::by_header("Time", ChannelQuantity::Time, Some("s")),
            Column::by_header("RPM", ChannelQuantity::Speed, Some("rpm")),
            Column::by_header("Torque", ChannelQuantity::Torque, Some("N.m")),
        ],
        note: None,
    };
    let before = peak_kib();
    let summary = raw::read(&mut log, &columns, &mut |_| ()).unwrap();
    let grown = peak_kib() - before;
    assert_eq!(summary.rows, rows);
    assert_eq!(summary.segments.len(), 6);
    // The log is some 96 MiB of text and 137 MiB of numbers.
    assert!(grown < 64 << 10, "grew by {grown} KiB");
}
