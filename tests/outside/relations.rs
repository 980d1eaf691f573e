//! The relations of the engine against integrals, derivatives, roots and linear systems of scipy and numpy, units of
//! pint, and water and air of CoolProp and psychrolib.
//!
//! The answers come from `tests/outside/engine_relations.py`; each tolerance names why it is not tighter.

use crate::outside;

use std::collections::BTreeMap;

use crate::case::Case;
use crate::case::numbers;
use mulebook::engine::air::Air;
use mulebook::engine::altitude::{Reduction, sea_level_pressure_pa, station_pressure_pa};
use mulebook::engine::cam::{Lobe, advance_deg, lobe_separation_deg, overlap_deg};
use mulebook::engine::cam_card::{CardFigure, read_card};
use mulebook::engine::compression::{Clearance, TopLand};
use mulebook::engine::consumption::{
    specific_consumption_kg_per_j, thermal_efficiency, volumetric_efficiency,
};
use mulebook::engine::correction::TemperatureScale;
use mulebook::engine::correction::diesel::{Charging, DieselEdition, Fuelling};
use mulebook::engine::correction::rating::{RatingKind, RatingPlace, indicated_ratio, power_adjustment};
use mulebook::engine::correction::spark::{DinPressure, J1349Form, SparkStandard};
use mulebook::engine::discharge::{Drop, FlowConvention};
use mulebook::engine::flow_bench::{
    BenchKind, flow_at_pressure, flow_of_standard_air_m3_per_s, flow_without_leakage_m3_per_s, plate_factor,
};
use mulebook::engine::humidity::Damp;
use mulebook::engine::inertia::inertia_torque_nm;
use mulebook::engine::inlet_closing::ratio_at_inlet_closing;
use mulebook::engine::lift_range::{LiftReading, mean, value_at};
use mulebook::engine::milling::{angled_cut_volume_m3, intake_shift};
use mulebook::engine::mixture::{FuelFormula, air_fuel_ratio};
use mulebook::engine::piston::CrankMechanism;
use mulebook::engine::port::{bench_velocity_m_per_s, speed_of_sound_m_per_s};
use mulebook::engine::shaft::{WorkingCycle, power_w};
use mulebook::engine::valve::{curtain_area_m2, throat_area_m2};
use mulebook::engine::vapour::Saturation;

#[test]
fn relations_agree_with_integrals_roots_and_published_libraries() {
    let Some(lines) = outside::lines("engine_relations.py") else {
        return;
    };
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for line in &lines {
        let name = line["case"].as_str().expect("a case has a name");
        let case = Case { name, given: &line["in"], answers: &line["out"] };
        match name {
            "clearance" => clearance(&case),
            "motion" => motion(&case),
            "camshaft" => camshaft(&case),
            "card" => card(&case),
            "nozzle" => nozzle(&case),
            "bench" => bench(&case),
            "lifts" => lifts(&case),
            "run" => run(&case),
            "mixture" => mixture(&case),
            "diesel" => correction(&case),
            "reduction" => reduction(&case),
            "milling" => milling(&case),
            other => panic!("the script prints a case that is not compared: {other}"),
        }
        *counts.entry(name).or_default() += 1;
    }
    assert_eq!(counts.len(), 12, "{counts:?}");
    assert!(counts.values().all(|&count| count >= 200), "{counts:?}");
}

fn clearance(case: &Case) {
    let cylinder = Clearance {
        bore_m: case.number("bore"),
        chamber_m3: case.number("chamber"),
        gasket_bore_m: case.number("gasket_bore"),
        gasket_thickness_m: case.number("gasket"),
        deck_clearance_m: case.number("deck"),
        crown_m3: case.number("crown"),
        top_land: Some(TopLand { diameter_m: case.number("land"), height_m: case.number("height") }),
    };
    case.close("total", cylinder.parts().expect("a chamber").total_m3, 1e-12, 0.0);
    case.close("ratio", cylinder.ratio(case.number("stroke")).expect("a ratio"), 1e-12, 0.0);
    match cylinder.quench_m() {
        Ok(quench) => case.close("quench", quench, 1e-12, 1e-15),
        // The piston would touch.
        Err(_) => assert!(case.answer("quench") <= 0.0, "{}", case.given),
    }
}

fn motion(case: &Case) {
    let crank = CrankMechanism::new(case.number("stroke"), case.number("rod")).expect("a crank");
    let (angle, rpm) = (case.number("angle"), case.number("rpm"));
    let greatest = crank.greatest_speed(rpm).expect("a speed");
    // The reference differentiates by differences of tenth order, twice for the acceleration.
    case.close(
        "speed",
        crank.speed_m_per_s(angle, rpm).expect("a speed"),
        0.0,
        1e-9 * greatest.speed_m_per_s,
    );
    let most = crank.acceleration_m_per_s2(0.0, rpm).expect("an acceleration");
    case.close("acceleration", crank.acceleration_m_per_s2(angle, rpm).expect("one"), 0.0, 1e-6 * most);
    // A maximum is flat: its place is known to the root of the precision of its height.
    case.close("greatest", greatest.speed_m_per_s, 1e-10, 0.0);
    case.close("at", greatest.angle_deg, 0.0, 1e-3);
    let closed =
        ratio_at_inlet_closing(&crank, case.number("bore"), case.number("rest"), case.number("closing"));
    case.close("closed_ratio", closed.expect("a ratio"), 1e-9, 0.0);
}

fn camshaft(case: &Case) {
    let lobe = |key: &str| {
        let pair = case.list(key);
        Lobe { at_lift_m: 1.27e-3, duration_deg: pair[0], centreline_deg: pair[1] }
    };
    let (inlet, exhaust) = (lobe("inlet"), lobe("exhaust"));
    let (i, e) = (inlet.inlet_events().expect("events"), exhaust.exhaust_events().expect("events"));
    for (key, found) in [
        ("opens", i.opens_before_deg),
        ("closes", i.closes_after_deg),
        ("first", e.opens_before_deg),
        ("last", e.closes_after_deg),
        ("overlap", overlap_deg(&inlet, &exhaust).expect("one lift")),
        ("separation", lobe_separation_deg(&inlet, &exhaust)),
        ("advance", advance_deg(&inlet, &exhaust)),
    ] {
        case.close(key, found, 0.0, 1e-10);
    }
    let back = Lobe::from_inlet_events(i).expect("a lobe");
    let expected = numbers(&case.answers["back"]);
    case.close_to("back", back.duration_deg, expected[0], 0.0, 1e-10);
    case.close_to("back", back.centreline_deg, expected[1], 0.0, 1e-10);
}

fn card(case: &Case) {
    use CardFigure::*;
    let figures = [
        InletDuration,
        ExhaustDuration,
        InletCentreline,
        Separation,
        InletOpening,
        InletClosing,
        ExhaustOpening,
        ExhaustClosing,
    ];
    let stated: Vec<(CardFigure, f64)> = figures.into_iter().zip(case.list("stated")).collect();
    let reading = read_card(&stated, 0.5).expect("a card");
    let wrong = case.answers["wrong"].as_f64().expect("a place") as usize;
    let found = reading.contradictions.iter().find(|one| one.figure == figures[wrong]);
    let found =
        found.unwrap_or_else(|| panic!("{:?} is not named for {}", reading.contradictions, case.given));
    // Where one figure alone explains the misprint it alone is named, with what it should be.
    if reading.contradictions.len() == 1 {
        case.close("follows", found.follows_deg.expect("it follows"), 0.0, 1e-8);
    }
}

fn nozzle(case: &Case) {
    let drop = Drop::of_dry_air(case.number("p"), case.number("kelvin"), case.number("drop"));
    let flux = |convention| drop.ideal_flux_kg_per_s_m2(convention).expect("a flux");
    // The reference finds the critical ratio as the top of a flat curve.
    case.close("critical", drop.critical_ratio().expect("a ratio"), 0.0, 1e-6);
    case.close("compressible", flux(FlowConvention::Compressible), 1e-9, 0.0);
    case.close("incompressible", flux(FlowConvention::Incompressible), 1e-12, 0.0);
    case.close("sound", speed_of_sound_m_per_s(case.number("kelvin")).expect("a speed"), 1e-12, 0.0);
}

fn bench(case: &Case) {
    let (flow, read) = (case.number("flow"), case.number("read"));
    let leak = (case.number("leak"), case.number("leak_at"));
    if case.answer("clean") >= 0.0 {
        let clean =
            flow_without_leakage_m3_per_s(flow, read, leak.0, leak.1).expect("more flow than leakage");
        case.close("clean", clean, 1e-12, 1e-18);
    }
    let brought = flow_at_pressure(flow, read, case.number("wanted")).expect("a flow");
    case.close("brought", brought.flow_m3_per_s, 1e-12, 0.0);
    case.close("plate", plate_factor(1.0, case.number("shown")).expect("a plate"), 1e-12, 0.0);
    let damp = Damp::Relative(case.number("share"));
    let air =
        Air::from_weather(case.number("p"), case.number("t"), damp, Saturation::IapwsIf97).expect("air");
    let standard = 101_325.0 / (287.055 * 293.15);
    let found = flow_of_standard_air_m3_per_s(BenchKind::VolumeFlow, flow, air.density_kg_per_m3(), standard);
    // The reference is real air; ideal gases lie within 0.1 % of it in density, half that in flow.
    case.close("standard", found.expect("a flow"), 6e-4, 0.0);
    let curtain = curtain_area_m2(case.number("valve"), case.number("lift")).expect("an area");
    case.close("curtain", curtain, 1e-12, 0.0);
    let ring = throat_area_m2(case.number("throat"), case.number("stem")).expect("an area");
    case.close("ring", ring, 1e-12, 0.0);
    case.close("speed", bench_velocity_m_per_s(flow, ring).expect("a speed"), 1e-12, 0.0);
}

fn lifts(case: &Case) {
    let readings: Vec<LiftReading> = case
        .list("lifts")
        .into_iter()
        .zip(case.list("values"))
        .map(|(lift_m, value)| LiftReading { lift_m, value })
        .collect();
    let (from, to) = (case.number("from"), case.number("to"));
    case.close("mean", mean(&readings, from, to).expect("inside"), 1e-9, 1e-9);
    case.close("at", value_at(&readings, from).expect("inside"), 1e-9, 1e-9);
}

fn run(case: &Case) {
    let (fuel, air) = (case.number("fuel"), case.number("air"));
    let power = power_w(case.number("torque"), case.number("rpm")).expect("a running engine");
    case.close("power", power, 1e-12, 0.0);
    case.close("specific", specific_consumption_kg_per_j(fuel, power).expect("power"), 1e-12, 0.0);
    let filled = volumetric_efficiency(
        air,
        case.number("density"),
        case.number("swept"),
        case.number("rpm"),
        WorkingCycle::FourStroke,
    );
    case.close("filled", filled.expect("an engine"), 1e-12, 0.0);
    case.close("ratio", air_fuel_ratio(air, fuel).expect("fuel"), 1e-12, 0.0);
    case.close("efficiency", thermal_efficiency(power, fuel, case.number("heat")).expect("fuel"), 1e-12, 0.0);
    let spun = inertia_torque_nm(case.number("inertia"), case.number("rate")).expect("a torque");
    case.close("spun", spun, 1e-12, 0.0);
}

fn mixture(case: &Case) {
    let fuel = FuelFormula {
        carbon: case.number("carbon"),
        hydrogen: case.number("hydrogen"),
        oxygen: case.number("oxygen"),
        nitrogen: case.number("nitrogen"),
    };
    case.close("molar", fuel.molar_mass_g(), 1e-12, 0.0);
    case.close("ratio", fuel.stoichiometric_ratio().expect("it needs air"), 1e-10, 0.0);
}

fn correction(case: &Case) {
    let damp = Damp::Relative(case.number("share"));
    let air =
        Air::from_weather(case.number("p"), case.number("t"), damp, Saturation::IapwsIf97).expect("air");
    let fuelling = Fuelling {
        fuel_g_per_s: case.number("fuel"),
        displacement_l: case.number("swept"),
        speed_rpm: case.number("rpm"),
        cycle: WorkingCycle::FourStroke,
        boost_ratio: case.number("boost"),
    };
    case.close("each", fuelling.per_cycle_mg_per_l().expect("a running engine"), 1e-12, 0.0);
    let corrected = fuelling.corrected_mg_per_l().expect("a running engine");
    let expected = numbers(&case.answers["factors"]);
    let kinds = [Charging::NaturalOrMechanical, Charging::Turbocharged, Charging::TurbochargedLiquidCooler];
    for (charging, expected) in kinds.into_iter().zip(expected) {
        let found = DieselEdition::SaeJis.factor(&air, charging, corrected, TemperatureScale::Exact);
        case.close_to("factors", found.expect("a factor").value, expected, 1e-9, 0.0);
    }
    let spark =
        |standard: SparkStandard| standard.factor(&air, TemperatureScale::Exact).expect("a factor").value;
    case.close("din", spark(SparkStandard::Din70020(DinPressure::Total)), 1e-12, 0.0);
    case.close("unrounded", spark(SparkStandard::SaeJ1349(J1349Form::Unrounded)), 1e-9, 0.0);
    let reference =
        Air::from_weather(100_000.0, 25.0, Damp::Relative(0.3), Saturation::IapwsIf97).expect("air");
    let place = |air: Air| RatingPlace { air, coolant_k: 298.15 };
    let k =
        indicated_ratio(RatingKind::SPARK_NATURAL, &place(air), &place(reference), TemperatureScale::Exact);
    let k = k.expect("a site");
    case.close("k", k, 1e-9, 0.0);
    case.close("alpha", power_adjustment(k, 0.8).expect("an engine"), 1e-9, 0.0);
}

fn reduction(case: &Case) {
    let (height, sea) = (case.number("height"), case.number("sea"));
    // The reference rounds the constants of the standard atmosphere to five figures.
    for (key, reduction) in [("altimeter", Reduction::AltimeterSetting), ("ratio", Reduction::StandardRatio)]
    {
        let station = station_pressure_pa(sea, height, reduction).expect("in the troposphere");
        case.close(key, station, 5e-5, 0.0);
        let back = sea_level_pressure_pa(station, height, reduction).expect("in the troposphere");
        case.close_to(key, back, sea, 1e-9, 0.0);
    }
}

fn milling(case: &Case) {
    let shift =
        intake_shift(case.number("cut"), case.number("bank"), case.number("face")).expect("a V engine");
    case.close("drop", shift.manifold_drop_m, 1e-9, 1e-15);
    case.close("metal", shift.face_cut_m, 1e-9, 1e-15);
    case.close("offset", shift.port_offset_m, 1e-9, 1e-15);
    let angled = angled_cut_volume_m3(case.number("area"), case.number("edge"), 0.0, case.number("share"));
    case.close("angled", angled.expect("a cut"), 1e-9, 0.0);
}
