//! A barometer reduced to sea level.

use crate::finding::Finding;

/// Altitudes below this, in metres, cannot show the difference.
const LOWEST_ALTITUDE_M: f64 = 100.0;

/// The doubt that a pressure is the sea-level one of a weather report instead of the station's own.
///
/// `pressure_pa` is the pressure as entered, in pascals; `altitude_m` the cell's altitude, in metres. The standard
/// atmosphere (ISO 2533) gives the pressure expected at that altitude; weather moves it by about 4 % at most, so that
/// only a pressure nearer to sea level's than to the station's, and above all usual station pressures, is doubted.
pub fn sea_level_doubt(pressure_pa: f64, altitude_m: f64) -> Option<Finding> {
    let sea_level = 101_325.0;
    let station = sea_level * libm::pow(1.0 - 0.0065 * altitude_m / 288.15, 5.25588);
    let finite = pressure_pa.is_finite() && station.is_finite();
    if !finite || altitude_m < LOWEST_ALTITUDE_M || pressure_pa < f64::midpoint(sea_level, station) {
        return None;
    }
    Some(
        Finding::doubt(
            "barometer-at-sea-level",
            "the barometer looks reduced to sea level, as weather reports give it",
        )
        .found(format!("{:.2} kPa", pressure_pa / 1e3))
        .expected(format!("about {:.2} kPa at {altitude_m:.0} m", station / 1e3))
        .next("enter the station pressure as the cell's own barometer shows it"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Station pressures at 1000, 2000 and 5000 ft: the project's reference table, computed from ISO 2533.
    #[test]
    fn a_sea_level_reading_is_doubted_at_altitude_only() {
        for (feet, station_kpa) in [(1000.0, 97.71657), (2000.0, 94.21290), (5000.0, 84.30726)] {
            let altitude = feet * 0.3048;
            assert!(sea_level_doubt(station_kpa * 1e3, altitude).is_none());
            let doubt = sea_level_doubt(101_325.0, altitude).unwrap();
            assert!(doubt.expected.unwrap().contains(&format!("{station_kpa:.2}")));
        }
        assert!(sea_level_doubt(101_325.0, 20.0).is_none());
        assert!(sea_level_doubt(f64::NAN, 500.0).is_none());
    }
}
