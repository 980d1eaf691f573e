//! The statistics against the Statistical Reference Datasets of the US National Institute of Standards and
//! Technology (StRD).
//!
//! Data and certified values: NIST StRD, itl.nist.gov/div898/strd (one-way analysis of variance and linear
//! regression). Agreement is asked in digits: the logarithm of the relative error.

use mulebook::statistics::components::Components;
use mulebook::statistics::least_squares::Fit;

fn digits(found: f64, certified: f64) -> f64 {
    let relative = ((found - certified) / certified).abs();
    if relative <= 0.0 { 16.0 } else { -libm::log10(relative) }
}

fn fisher(groups: &[Vec<f64>]) -> (f64, f64) {
    let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
    let components = Components::of(&slices).expect("groups with repeats");
    let (f, _) = components.group_test().expect("readings that differ");
    (f, components.within.standard_deviation)
}

#[test]
fn silicon_resistivity() {
    // SiRstv: five instruments, five readings each.
    let groups = [
        vec![196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
        vec![196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
        vec![196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
        vec![196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
        vec![196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
    ];
    let (f, s) = fisher(&groups);
    assert!(digits(f, 1.180_462_374_402_55) > 9.0, "{f}");
    assert!(digits(s, 0.104_076_068_334_656) > 9.0, "{s}");
}

#[test]
fn atomic_weight_of_silver() {
    // AtmWtAg: two instruments, 24 readings each, ten digits of which seven are alike.
    let first = [
        568, 465, 572, 785, 446, 903, 526, 494, 616, 587, 519, 486, 419, 569, 508, 672, 385, 518, 662, 424,
        360, 333, 610, 477,
    ];
    let second = [
        79, 344, 513, 197, 604, 385, 642, 365, 151, 82, 517, 448, 198, 482, 334, 609, 101, 512, 469, 360,
        254, 261, 450, 368,
    ];
    let weights =
        |last: &[i32]| -> Vec<f64> { last.iter().map(|&end| f64::from(1_078_681_000 + end) / 1e7).collect() };
    let (f, s) = fisher(&[weights(&first), weights(&second)]);
    assert!(digits(f, 15.946_733_567_793_0) > 8.0, "{f}");
    assert!(digits(s, 1.510_483_144_464_10e-5) > 8.0, "{s}");
}

/// Simon & Lesage: nine groups around a long constant head; the first reading of a group lies in the middle,
/// the others ±0.1.
fn constant_head(head: f64, repeats: usize) -> Vec<Vec<f64>> {
    [1.4, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5]
        .iter()
        .map(|middle| {
            // Written as decimal text and read, as the data file is.
            let reading = |offset: f64| -> f64 {
                let tail = format!("{:.1}", middle - 1.0 + offset);
                let digit = tail.trim_start_matches("0.");
                format!("{head:.0}.{digit}").parse().expect("a decimal number")
            };
            let mut group = vec![reading(0.0)];
            for pair in 1..repeats {
                group.push(reading(if pair % 2 == 1 { -0.1 } else { 0.1 }));
            }
            group
        })
        .collect()
}

#[test]
fn small_differences_on_a_large_constant() {
    // SmLs01, 04 and 07 (21 readings a group): certified F 21; SmLs03, 06 and 09 (2001 a group): certified F
    // 2001.
    for (repeats, certified) in [(21, 21.0), (2001, 2001.0)] {
        for (head, wanted) in [(1.0, 12.0), (1_000_000.0, 9.0), (1_000_000_000_000.0, 3.0)] {
            let (f, s) = fisher(&constant_head(head, repeats));
            assert!(digits(f, certified) > wanted, "{head}, {repeats}: {f}");
            assert!(digits(s, 0.1) > wanted, "{head}, {repeats}: {s}");
        }
    }
}

#[test]
fn norris_line() {
    // Norris: calibration of ozone monitors, 36 points.
    let y = [
        0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8,
        339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9,
        10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
    ];
    let x = [
        0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9,
        338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0,
        11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
    ];
    let design: Vec<Vec<f64>> = x.iter().map(|&x| vec![1.0, x]).collect();
    let fit = Fit::of(&design, &y).expect("a design of full rank");
    let (b0, b1) = (fit.coefficient(0).expect("kept"), fit.coefficient(1).expect("kept"));
    assert!(digits(b0.value, -0.262_323_073_774_029) > 10.0, "{b0:?}");
    assert!(digits(b0.standard_error, 0.232_818_234_301_152) > 10.0, "{b0:?}");
    assert!(digits(b1.value, 1.002_116_818_020_45) > 10.0, "{b1:?}");
    assert!(digits(b1.standard_error, 0.429_796_848_199_937e-3) > 10.0, "{b1:?}");
    assert!(digits(fit.standard_deviation().expect("repeats"), 0.884_796_396_144_373) > 10.0);
    assert!(digits(fit.sequential_squares[1], 4_255_954.132_323_69) > 10.0);
}

#[test]
fn longley_economy() {
    // Longley: six nearly dependent regressors, 16 years (certified intercept and residual deviation; from
    // memory, agreeing with the data set and results of statsmodels 0.15.0).
    let rows: [[f64; 7]; 16] = [
        [60323.0, 83.0, 234289.0, 2356.0, 1590.0, 107608.0, 1947.0],
        [61122.0, 88.5, 259426.0, 2325.0, 1456.0, 108632.0, 1948.0],
        [60171.0, 88.2, 258054.0, 3682.0, 1616.0, 109773.0, 1949.0],
        [61187.0, 89.5, 284599.0, 3351.0, 1650.0, 110929.0, 1950.0],
        [63221.0, 96.2, 328975.0, 2099.0, 3099.0, 112075.0, 1951.0],
        [63639.0, 98.1, 346999.0, 1932.0, 3594.0, 113270.0, 1952.0],
        [64989.0, 99.0, 365385.0, 1870.0, 3547.0, 115094.0, 1953.0],
        [63761.0, 100.0, 363112.0, 3578.0, 3350.0, 116219.0, 1954.0],
        [66019.0, 101.2, 397469.0, 2904.0, 3048.0, 117388.0, 1955.0],
        [67857.0, 104.6, 419180.0, 2822.0, 2857.0, 118734.0, 1956.0],
        [68169.0, 108.4, 442769.0, 2936.0, 2798.0, 120445.0, 1957.0],
        [66513.0, 110.8, 444546.0, 4681.0, 2637.0, 121950.0, 1958.0],
        [68655.0, 112.6, 482704.0, 3813.0, 2552.0, 123366.0, 1959.0],
        [69564.0, 114.2, 502601.0, 3931.0, 2514.0, 125368.0, 1960.0],
        [69331.0, 115.7, 518173.0, 4806.0, 2572.0, 127852.0, 1961.0],
        [70551.0, 116.9, 554894.0, 4007.0, 2827.0, 130081.0, 1962.0],
    ];
    let design: Vec<Vec<f64>> =
        rows.iter().map(|row| std::iter::once(1.0).chain(row[1..].iter().copied()).collect()).collect();
    let observed: Vec<f64> = rows.iter().map(|row| row[0]).collect();
    let fit = Fit::of(&design, &observed).expect("a design of full rank");
    assert_eq!(fit.rank, 7);
    assert!(
        digits(fit.coefficients[0].expect("kept"), -3_482_258.634_595_82) > 9.0,
        "{:?}",
        fit.coefficients
    );
    assert!(digits(fit.standard_deviation().expect("repeats"), 304.854_073_561_965) > 9.0);
}
