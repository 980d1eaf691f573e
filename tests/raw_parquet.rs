//! Parquet files come out to the last bit.
#![cfg(feature = "parquet")]
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

use std::sync::Arc;

use mulebook::raw;
use mulebook::record::channel::ChannelQuantity;
use mulebook::record::columns::FileFormat;
use parquet::data_type::{DoubleType, FloatType, Int64Type};
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;

fn written(stamps: &[i64], speeds: &[f64], torques: &[f32], present: &[i16]) -> Vec<u8> {
    let message = "message pull { required int64 timestamp; required double rpm; optional float torque_nm; }";
    let schema = Arc::new(parse_message_type(message).unwrap());
    let mut bytes = Vec::new();
    let mut writer =
        SerializedFileWriter::new(&mut bytes, schema, Arc::new(WriterProperties::builder().build())).unwrap();
    let mut group = writer.next_row_group().unwrap();
    let mut column = group.next_column().unwrap().unwrap();
    column.typed::<Int64Type>().write_batch(stamps, None, None).unwrap();
    column.close().unwrap();
    let mut column = group.next_column().unwrap().unwrap();
    column.typed::<DoubleType>().write_batch(speeds, None, None).unwrap();
    column.close().unwrap();
    let mut column = group.next_column().unwrap().unwrap();
    column.typed::<FloatType>().write_batch(torques, Some(present), None).unwrap();
    column.close().unwrap();
    group.close().unwrap();
    writer.close().unwrap();
    bytes
}

#[test]
fn a_parquet_file_comes_out_to_the_last_bit() {
    let stamps: Vec<i64> = (0..50).map(|n| 1_772_460_000_123_456_789 + n * 100_000_007).collect();
    let speeds: Vec<f64> = (0..50).map(|n| 3000.0 + f64::from(n) / 3.0).collect();
    let torques: Vec<f32> = (1..50).map(|n| 60.0 + n as f32 / 7.0).collect();
    let present: Vec<i16> = (0..50).map(|n| i16::from(n != 9)).collect();
    let bytes = written(&stamps, &speeds, &torques, &present);
    let guess = raw::sniff(&bytes, "pull.parquet", true, &[]).unwrap();
    assert_eq!(guess.format, FileFormat::Parquet);
    assert!(guess.questions.is_empty());
    let columns = guess.into_columns("logger");
    let quantities: Vec<ChannelQuantity> = columns.channels.iter().map(|c| c.quantity).collect();
    assert_eq!(quantities, [ChannelQuantity::Time, ChannelQuantity::Speed, ChannelQuantity::Torque]);
    let mut values = vec![Vec::new(); 3];
    let summary = raw::read(&mut bytes.as_slice(), &columns, &mut |batch| {
        for (all, more) in values.iter_mut().zip(batch.columns) {
            all.extend_from_slice(more);
        }
    })
    .unwrap();
    assert_eq!(summary.rows, 50);
    let bits = |list: &[f64]| list.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
    let seconds: Vec<f64> = (0..50).map(|n| f64::from(n) * 100_000_007.0 / 1e9).collect();
    assert_eq!(bits(&values[0]), bits(&seconds));
    assert_eq!(bits(&values[1]), bits(&speeds));
    let mut rest = torques.iter();
    for (row, value) in values[2].iter().enumerate() {
        if row == 9 {
            assert!(value.is_nan());
        } else {
            assert_eq!(value.to_bits(), f64::from(*rest.next().unwrap()).to_bits());
        }
    }
}

#[test]
fn a_damaged_parquet_file_is_refused() {
    let bytes = written(&[1], &[2.0], &[3.0], &[1]);
    for cut in [8, bytes.len() / 2, bytes.len() - 1] {
        assert!(raw::sniff(&bytes[..cut], "pull.parquet", true, &[]).is_err());
    }
}
