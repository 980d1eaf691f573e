//! The engine's relations and the statistics against published libraries: CoolProp, psychrolib, scipy,
//! statsmodels, uncertainties, pint.
//!
//! The answers come from `tests/outside/engine_reference.py`; each tolerance names why it is not tighter.

use crate::outside;

use std::collections::BTreeMap;

use crate::case::Case;
use crate::case::numbers;
use mulebook::engine::EngineError;
use mulebook::engine::air::Air;
use mulebook::engine::altitude::standard_pressure_pa;
use mulebook::engine::compression::static_ratio;
use mulebook::engine::correction::TemperatureScale;
use mulebook::engine::correction::spark::{J1349Form, SparkStandard};
use mulebook::engine::cylinder::swept_volume_m3;
use mulebook::engine::humidity::{Damp, WetBulbMethod, vapour_pressure_pa};
use mulebook::engine::piston::CrankMechanism;
use mulebook::engine::port::speed_of_sound_m_per_s;
use mulebook::engine::shaft::{WorkingCycle, mean_effective_pressure_pa, power_w};
use mulebook::engine::vapour::Saturation;
use mulebook::statistics::band::{Cover, factor};
use mulebook::statistics::budget::Budgeted;
use mulebook::statistics::components::Components;
use mulebook::statistics::distribution::{
    chi_squared_quantile, fisher_quantile, fisher_upper, normal_quantile, student_probability,
    student_quantile,
};
use mulebook::statistics::factorial::{Adjustment, Reading, TwoFactors};
use mulebook::statistics::least_squares::Fit;
use mulebook::statistics::power::{noncentral_student_probability, power};
use mulebook::statistics::rank_sum::rank_sum_probability;
use mulebook::statistics::sample::Summary;
use mulebook::statistics::two_sample::{pooled, welch};

impl Case<'_> {
    fn budgeted(&self, key: &str) -> Budgeted {
        let pair = self.list(key);
        Budgeted::from_source(pair[0], key, pair[1]).expect("a value and an uncertainty")
    }

    fn close_budget(&self, key: &str, found: &Budgeted) {
        let pair = numbers(&self.answers[key]);
        self.close_to(key, found.value(), pair[0], 1e-12, 1e-11 * pair[1].max(1.0));
        // Sensitivities here are numeric differences.
        self.close_to(key, found.standard_uncertainty(), pair[1], 1e-6, 1e-12);
    }
}

#[test]
fn answers_agree_with_published_libraries() {
    let Some(lines) = outside::lines("engine_reference.py") else {
        return;
    };
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for line in &lines {
        let name = line["case"].as_str().expect("a case has a name");
        let case = Case { name, given: &line["in"], answers: &line["out"] };
        match name {
            "student-quantile"
            | "student-probability"
            | "normal-quantile"
            | "fisher-quantile"
            | "fisher-upper"
            | "chi-squared-quantile"
            | "noncentral-student"
            | "maximum-modulus"
            | "power" => distribution(&case),
            "two-samples" => two_samples(&case),
            "groups" => groups(&case),
            "least-squares" => least_squares(&case),
            "two-factors" => two_factors(&case),
            "saturation" | "moist-air" | "wet-bulb" | "altitude" => air(&case),
            "units" => units(&case),
            "piston" => piston(&case),
            "shared-budget" => shared_budget(&case),
            "shared-air" => shared_air(&case),
            other => panic!("the script prints a case that is not compared: {other}"),
        }
        *counts.entry(name).or_default() += 1;
    }
    assert_eq!(counts.len(), 21, "{counts:?}");
    assert!(counts.values().all(|&count| count >= 50), "{counts:?}");
}

fn distribution(case: &Case) {
    match case.name {
        "student-quantile" => {
            // scipy inverts to about 1e-9 in far tails of large degrees of freedom.
            let found = student_quantile(case.number("p"), case.number("df")).expect("in range");
            case.close("t", found, 1e-8, 1e-9);
        }
        "student-probability" => {
            let found = student_probability(case.number("t"), case.number("df")).expect("in range");
            case.close("p", found, 1e-8, 1e-12);
        }
        "normal-quantile" => {
            case.close("z", normal_quantile(case.number("p")).expect("in range"), 1e-12, 1e-12)
        }
        "fisher-quantile" => {
            let found =
                fisher_quantile(case.number("p"), case.number("df1"), case.number("df2")).expect("in range");
            case.close("f", found, 1e-9, 1e-12);
        }
        "fisher-upper" => {
            let found =
                fisher_upper(case.number("f"), case.number("df1"), case.number("df2")).expect("in range");
            case.close("p", found, 1e-9, 1e-14);
        }
        "chi-squared-quantile" => {
            let found = chi_squared_quantile(case.number("p"), case.number("df")).expect("in range");
            case.close("x", found, 1e-10, 1e-12);
        }
        "noncentral-student" => {
            let found =
                noncentral_student_probability(case.number("t"), case.number("df"), case.number("delta"));
            case.close("p", found.expect("in range"), 0.0, 1e-7);
        }
        "maximum-modulus" => {
            let points = case.given["points"].as_u64().expect("a count") as usize;
            let found = factor(Cover::MaximumModulus, points, case.number("df"), case.number("level"));
            case.close("factor", found.expect("in range"), 1e-6, 0.0);
        }
        _ => {
            let found = power(case.number("count"), case.number("ratio"), 0.05).expect("in range");
            case.close("power", found, 0.0, 1e-7);
        }
    }
}

fn two_samples(case: &Case) {
    let (base, test) = (case.list("base"), case.list("test"));
    let (a, b) = (Summary::of(&base).expect("readings"), Summary::of(&test).expect("readings"));
    let found = welch(&a, &b).expect("spread");
    case.close("welch_t", found.t().expect("spread"), 1e-9, 1e-9);
    case.close("welch_df", found.degrees_of_freedom, 1e-9, 0.0);
    case.close("welch_p", found.two_sided_probability().expect("spread"), 1e-8, 1e-12);
    let interval = found.interval(0.95).expect("a level");
    case.close("lower", interval.lower, 1e-8, 1e-8);
    case.close("upper", interval.upper, 1e-8, 1e-8);
    let found = pooled(&a, &b).expect("spread");
    case.close("pooled_t", found.t().expect("spread"), 1e-9, 1e-9);
    case.close("pooled_p", found.two_sided_probability().expect("spread"), 1e-8, 1e-12);
    if case.answers.get("rank_p").is_some() {
        case.close("rank_p", rank_sum_probability(&base, &test).expect("no ties"), 1e-12, 0.0);
    }
}

fn groups(case: &Case) {
    let groups: Vec<Vec<f64>> =
        case.given["groups"].as_array().expect("groups").iter().map(numbers).collect();
    let slices: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
    let (f, p) = Components::of(&slices).expect("groups").group_test().expect("spread");
    case.close("f", f, 1e-8, 1e-9);
    case.close("p", p, 1e-7, 1e-12);
}

fn least_squares(case: &Case) {
    let design: Vec<Vec<f64>> = case.given["design"].as_array().expect("rows").iter().map(numbers).collect();
    let fit = Fit::of(&design, &case.list("observed")).expect("a fit");
    case.close("spread", fit.standard_deviation().expect("rows to spare"), 1e-9, 0.0);
    let (values, errors) = (numbers(&case.answers["coefficients"]), numbers(&case.answers["errors"]));
    assert_eq!(fit.rank, values.len());
    for (index, (value, error)) in values.iter().zip(&errors).enumerate() {
        let found = fit.coefficient(index).expect("full rank");
        case.close_to("coefficient", found.value, *value, 1e-9, 1e-9 * error);
        case.close_to("error", found.standard_error, *error, 1e-9, 0.0);
    }
}

fn two_factors(case: &Case) {
    let readings: Vec<Reading> = case.given["readings"]
        .as_array()
        .expect("readings")
        .iter()
        .map(numbers)
        .map(|row| Reading { first: row[0] as usize, second: row[1] as usize, value: row[2] })
        .collect();
    let table = TwoFactors::new(&readings, 2, 3).expect("levels");
    for (key, adjustment) in [
        ("squares1", Adjustment::Sequential),
        ("squares2", Adjustment::Marginal),
        ("squares3", Adjustment::Partial),
    ] {
        let expected = numbers(&case.answers[key]);
        for (effect, expected) in table.effects(adjustment).expect("repeats").iter().zip(expected) {
            case.close_to(key, effect.squares, expected, 1e-7, 1e-7);
        }
    }
}

fn air(case: &Case) {
    match case.name {
        "saturation" => {
            let t = case.number("t");
            case.close("if97", Saturation::IapwsIf97.pressure_pa(t).expect("in range"), 1e-9, 0.0);
            case.close(
                "hyland_wexler",
                Saturation::HylandWexler.pressure_pa(t).expect("in range"),
                1e-11,
                0.0,
            );
            // Published fits to the same vapour pressure, to their stated quality.
            for (formula, share) in
                [(Saturation::Magnus, 4e-3), (Saturation::Buck1981, 2e-3), (Saturation::Buck1996, 2e-3)]
            {
                case.close("if97", formula.pressure_pa(t).expect("in range"), share, 0.0);
            }
        }
        "moist-air" => {
            let found = Air::from_weather(
                case.number("p"),
                case.number("t"),
                Damp::Relative(case.number("share")),
                Saturation::IapwsIf97,
            )
            .expect("air");
            case.close("dry", found.dry_pressure_pa(), 1e-10, 0.0);
            // The reference is real moist air; ideal gases without the enhancement factor lie within 0.1 %.
            case.close("density", found.density_kg_per_m3(), 1e-3, 0.0);
            let of = |standard: SparkStandard| {
                standard.factor(&found, TemperatureScale::Exact).expect("a factor").value
            };
            case.close("j1349", of(SparkStandard::SaeJ1349(J1349Form::Printed)), 1e-10, 0.0);
            case.close("iso1585", of(SparkStandard::Iso1585), 1e-10, 0.0);
            case.close("sae60", of(SparkStandard::Sae60Fahrenheit), 1e-10, 0.0);
            // Real air: its heat ratio is not quite 1.4.
            case.close(
                "sound",
                speed_of_sound_m_per_s(found.temperature_k()).expect("a temperature"),
                1e-3,
                0.0,
            );
        }
        "wet-bulb" => {
            let wet = Damp::WetBulb(case.number("wet"), WetBulbMethod::AdiabaticSaturation);
            let found = vapour_pressure_pa(wet, case.number("t"), case.number("p"), Saturation::HylandWexler);
            case.close("vapour", found.expect("a wet bulb"), 1e-9, 1e-6);
        }
        _ => {
            // The reference rounds the constants of the standard atmosphere to five figures.
            case.close("p", standard_pressure_pa(case.number("h")).expect("in the troposphere"), 3e-5, 0.0);
        }
    }
}

fn units(case: &Case) {
    const INCH: f64 = 0.0254;
    let swept =
        swept_volume_m3(case.number("bore_in") * INCH, case.number("stroke_in") * INCH).expect("a cylinder");
    case.close("swept_cc", swept * 1e6, 1e-12, 0.0);
    let torque = case.number("torque_lbft") * 0.453_592_37 * 9.806_65 * 0.3048;
    let power = power_w(torque, case.number("rpm")).expect("a running engine");
    case.close("hp", power / (550.0 * 0.453_592_37 * 9.806_65 * 0.3048), 1e-12, 0.0);
    let mean = mean_effective_pressure_pa(torque, 8.0 * swept, WorkingCycle::FourStroke).expect("a cylinder");
    case.close("bmep_psi", mean / (0.453_592_37 * 9.806_65 / (INCH * INCH)), 1e-12, 0.0);
}

fn piston(case: &Case) {
    // The relation has no unit of its own: inches in, inches out.
    let crank = CrankMechanism::new(case.number("stroke"), case.number("rod")).expect("a crank");
    case.close("position", crank.position_m(case.number("angle")).expect("an angle"), 1e-11, 1e-14);
}

fn shared_budget(case: &Case) {
    let (bore, stroke, rest) = (case.budgeted("bore"), case.budgeted("stroke"), case.budgeted("rest"));
    let ratio = |chamber: &Budgeted| {
        Budgeted::combine(&[&bore, &stroke, chamber, &rest], |x| -> Result<f64, EngineError> {
            static_ratio(swept_volume_m3(x[0], x[1])?, x[2] + x[3])
        })
        .expect("a ratio")
    };
    let (first, second) = (ratio(&case.budgeted("first")), ratio(&case.budgeted("second")));
    case.close_budget("ratio", &first);
    case.close_budget("gain", &first.minus(&second).expect("a difference"));
}

fn shared_air(case: &Case) {
    let (p, t, e) = (case.budgeted("p"), case.budgeted("t"), case.budgeted("e"));
    let corrected = |observed: &Budgeted| {
        Budgeted::combine(&[&p, &t, &e, observed], |x| -> Result<f64, EngineError> {
            let air = Air::new(x[0], x[1], x[2])?;
            SparkStandard::SaeJ1349(J1349Form::Printed).factor(&air, TemperatureScale::Exact)?.correct(x[3])
        })
        .expect("a corrected value")
    };
    let (base, test) = (corrected(&case.budgeted("base")), corrected(&case.budgeted("test")));
    case.close_budget("gain", &test.minus(&base).expect("a difference"));
    let share = Budgeted::combine(&[&base, &test], |x| Ok::<_, EngineError>(x[1] / x[0])).expect("a ratio");
    case.close_budget("share", &share);
}
