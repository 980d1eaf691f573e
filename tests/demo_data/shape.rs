//! Rows to the bytes of a file, in each of the shapes that the benches write.

use std::fmt::Write;

use super::schedule::Pull;
use super::schedule::Shape;
use super::trace::Row;
use super::trace::power_kw;
use super::trace::rows;

/// Exact, or as exact as their definitions: see the program's own table of units.
const NM_PER_LB_FT: f64 = 1.355_817_948_331_400_4;
const LB_FT_RPM_PER_HP: f64 = 5_252.113_122_032_546;
const KG_PER_LB: f64 = 0.453_592_37;
const KPA_PER_INHG: f64 = 3.386_389;

/// The file of one pull, or of the pulls that share it.
pub(crate) fn bytes(pulls: &[&Pull]) -> Vec<u8> {
    let first = pulls.first().expect("a file holds at least one pull");
    match first.shape {
        Shape::Bracketed => bracketed(first).into_bytes(),
        Shape::UnitRow => windows_1252(&unit_row(first)),
        Shape::Preamble => preamble(first).replace('\n', "\r\n").into_bytes(),
        Shape::TwoRuns => two_runs(pulls).into_bytes(),
    }
}

fn line(text: &mut String, cells: &[String], delimiter: &str) {
    text.push_str(&cells.join(delimiter));
    text.push('\n');
}

fn cell(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    // A console prints no minus before a zero.
    if text.starts_with('-') && text.bytes().all(|byte| matches!(byte, b'-' | b'0' | b'.')) {
        text.trim_start_matches('-').to_string()
    } else {
        text
    }
}

/// Time, speed, torque and power; the power is worked out from what stands in the row, as a console does.
fn head(row: &Row) -> Vec<String> {
    let (rpm, torque) = (round(row.rpm, 1.0), round(row.torque_nm, 10.0));
    vec![cell(row.time_s, 2), cell(rpm, 0), cell(torque, 1), cell(power_kw(torque, rpm), 1)]
}

fn round(value: f64, steps: f64) -> f64 {
    (value * steps).round() / steps
}

fn bracketed(pull: &Pull) -> String {
    let mut text = String::from(
        "Time (s),Engine Speed (rpm),Torque (N·m),Power (kW),Oil Temp (°C),Coolant Temp (°C),Fuel Flow (kg/h),\
         Lambda,Barometer (kPa),Air Temp (°C),Humidity (%)\n",
    );
    for row in rows(pull) {
        let mut cells = head(&row);
        cells.extend([
            cell(row.oil_c, 1),
            cell(row.coolant_c, 1),
            cell(row.fuel_kg_per_h, 2),
            cell(row.lambda, 3),
            cell(row.station_kpa, 2),
            cell(row.air_c, 1),
            cell(row.humidity_percent, 1),
        ]);
        line(&mut text, &cells, ",");
    }
    text
}

fn unit_row(pull: &Pull) -> String {
    let mut text = String::from(
        "Time;Engine speed;Torque;Power;Oil temperature;Coolant temperature;Fuel flow;Lambda\n\
         s;rpm;Nm;kW;°C;°C;kg/h;-\n",
    );
    for row in rows(pull) {
        let mut cells = head(&row);
        cells.extend([
            cell(row.oil_c, 1),
            cell(row.coolant_c, 1),
            cell(row.fuel_kg_per_h, 2),
            cell(row.lambda, 3),
        ]);
        let cells: Vec<String> = cells.iter().map(|cell| cell.replace('.', ",")).collect();
        line(&mut text, &cells, ";");
    }
    text
}

fn preamble(pull: &Pull) -> String {
    let [air_c, station_kpa, humidity_percent] = pull.weather();
    let mut text = String::new();
    let sitting = pull.sitting();
    // Writing into a string cannot fail.
    let _ = write!(
        text,
        "Console: Tarnbeck T3 service log\nRun: {}\nDate: {}\nTime of day: {}\nOperator: {}\nAir temperature: {} °C\n\
         Barometer: {} kPa\nHumidity: {} %\nSweep: 300 rpm/s\nCorrection: none\n\n",
        pull.order,
        sitting.day,
        pull.at,
        sitting.by,
        cell(air_c, 1),
        cell(station_kpa, 2),
        cell(humidity_percent, 0),
    );
    text.push_str(
        "Time [s]\tSpeed [rpm]\tTorque [Nm]\tPower [kW]\tOil temp [°C]\tWater temp [°C]\tFuel [kg/h]\tLambda [-]\n",
    );
    for row in rows(pull) {
        let mut cells = head(&row);
        cells.extend([
            cell(row.oil_c, 1),
            cell(row.coolant_c, 1),
            cell(row.fuel_kg_per_h, 2),
            cell(row.lambda, 3),
        ]);
        line(&mut text, &cells, "\t");
    }
    text
}

fn two_runs(pulls: &[&Pull]) -> String {
    let fahrenheit = |celsius: f64| celsius * 1.8 + 32.0;
    let mut text = String::from(
        "Quillo 8 run sheet\nTime (sec),RPM,Torque (lb-ft),Power (hp),Oil Temp (°F),Water Temp (°F),Fuel Flow (lb/h),\
         Lambda,Baro (inHg),Air Temp (°F),Humidity (%)\n",
    );
    for pull in pulls {
        for row in rows(pull) {
            let (rpm, torque) = (round(row.rpm, 1.0), round(row.torque_nm / NM_PER_LB_FT, 10.0));
            let cells = [
                cell(row.time_s, 1),
                cell(rpm, 0),
                cell(torque, 1),
                cell(torque * rpm / LB_FT_RPM_PER_HP, 1),
                cell(fahrenheit(row.oil_c), 1),
                cell(fahrenheit(row.coolant_c), 1),
                cell(row.fuel_kg_per_h / KG_PER_LB, 1),
                cell(row.lambda, 3),
                cell(row.station_kpa / KPA_PER_INHG, 3),
                cell(fahrenheit(row.air_c), 1),
                cell(row.humidity_percent, 1),
            ];
            line(&mut text, &cells, ",");
        }
    }
    text
}

/// Windows-1252 and Unicode agree on every sign used here.
fn windows_1252(text: &str) -> Vec<u8> {
    text.chars()
        .map(|letter| u8::try_from(u32::from(letter)).expect("only signs of Windows-1252 are written"))
        .collect()
}
