//! The usual cautions, on everything that may be carried to an engine.

/// What stands over them.
pub(super) const TITLE: &str = "Before anybody runs this";
/// The cautions, a line each.
pub(super) const CAUTIONS: [&str; 4] = [
    "Guard whatever turns; stand out of the plane of flywheel, absorber and shaft; a trained person at the stop.",
    "Exhaust goes outdoors and carbon monoxide is watched; fuel is shut off from outside; an extinguisher is at hand.",
    "Wear hearing and eye protection. Hot parts stay hot.",
    "Local codes, the makers' limits and licensed practice come before this sheet.",
];
