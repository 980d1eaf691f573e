//! What the use cases answer, and the JSON shapes of it.
//!
//! In: values of the rooms below. Out: plain structs that `render` shows as text or JSON; `schema/answers/` describes
//! each shape. Nothing is computed here beyond putting values into words.

mod alarm;
mod audit;
mod baseline;
mod claim;
mod combos;
mod csv;
mod demo;
mod derived;
mod diff;
mod dossier;
mod doubt;
mod entry;
mod find;
mod flow;
mod form;
mod gaps;
mod known;
mod look;
mod mend;
mod page;
mod page_booklet;
mod page_curves;
mod refused_pairs;
mod sheet;
mod sheet_repeat;
mod table;
mod trail;
mod verify;
mod weigh;
mod weigh_band;
mod weigh_figures;
mod weigh_plan;
mod weigh_rests;

pub use alarm::AlarmFigure;
pub use alarm::AlarmLine;
pub use audit::AuditAnswer;
pub use audit::TouchedLine;
pub use baseline::BaselineAnswer;
pub use baseline::BaselineTrend;
pub use baseline::BaselineUnit;
pub use baseline::HealthFigure;
pub use baseline::HealthReading;
pub use claim::ClaimAnswer;
pub use claim::ClaimMended;
pub use claim::ClaimTerm;
pub use claim::ClaimTiming;
pub use claim::ClaimVersionLine;
pub use claim::ClaimWithdrawn;
pub use claim::REFUSED as CLAIM_REFUSED;
pub use claim::SHOWN as CLAIM_SHOWN;
pub use combos::CellLine;
pub use combos::CombosAnswer;
pub use combos::EffectLine;
pub use combos::InteractionLine;
pub use combos::LeftOut;
pub use csv::csv_cell;
pub use csv::plain_text;
pub use demo::DemoAnswer;
pub use demo::DemoShown;
pub use demo::DemoStep;
pub use derived::BarredLine;
pub use derived::BarsLine;
pub use derived::BasisLine;
pub use derived::DerivedLine;
pub use derived::FigureLine;
pub use derived::InputLine;
pub use derived::Interval;
pub use derived::LackLine;
pub use derived::MissingLine;
pub use derived::MovedLine;
pub use diff::ChangeLine;
pub use diff::Compared;
pub use diff::CurveRow;
pub use diff::Curves;
pub use diff::DiffAnswer;
pub use diff::OpenLine;
pub use diff::Refused;
pub use diff::SideLine;
pub use diff::SoftLine;
pub use diff::WearLine;
pub use diff::no_basis_words;
pub use dossier::CountersignAnswer;
pub use dossier::DossierAnswer;
pub use dossier::KeptBackLine;
pub use dossier::PullUseLine;
pub use dossier::ReceiptAnswer;
pub use dossier::RunGapLine;
pub use doubt::DoubtAnswer;
pub use doubt::DoubtComparison;
pub use doubt::DoubtRests;
pub use entry::Entered;
pub use entry::EvidenceLine;
pub use entry::PullEntered;
pub use entry::PullLine;
pub use entry::TakenIn;
pub use entry::Written;
pub use find::FindAnswer;
pub use find::FindRow;
pub use find::FindUntold;
pub use flow::FlowBrought;
pub use flow::FlowChangeLine;
pub use flow::FlowCompared;
pub use flow::FlowDiffAnswer;
pub use flow::FlowEntered;
pub use flow::FlowLift;
pub use flow::FlowLine;
pub use flow::FlowMeaning;
pub use flow::FlowPoint;
pub use flow::FlowRow;
pub use flow::FlowSheetAnswer;
pub use form::FormAnswer;
pub use form::FormEntered;
pub use form::FormKeyed;
pub use form::FormLine;
pub use form::FormSection;
pub use form::KeyedLine;
pub use form::LABEL;
pub use form::Section;
pub use gaps::GapLine;
pub use gaps::GapsAnswer;
pub use gaps::RunGap;
pub use gaps::WeakLine;
pub use known::KnownLine;
pub use look::ChannelLine;
pub use look::LookAnswer;
pub use look::SegmentLine;
pub use mend::LitterLine;
pub use mend::MendAnswer;
pub use mend::MendedLine;
pub use page::PageAnswer;
pub use page::PageMark;
pub use page_booklet::Booklet;
pub use page_booklet::BookletPart;
pub use page_booklet::BookletTest;
pub use page_curves::LevelRow;
pub use page_curves::Peak;
pub use page_curves::PullCurve;
pub use page_curves::PullCurveRow;
pub use page_curves::RepeatCurve;
pub use page_curves::WeighCurves;
pub use page_curves::WeighedPage;
pub use refused_pairs::NamedPull;
pub use refused_pairs::RefusedPairs;
pub use refused_pairs::SharedGap;
pub use sheet::HashCheck;
pub use sheet::SheetAnswer;
pub use sheet::SheetFile;
pub use sheet::SheetLine;
pub use sheet::SheetPart;
pub use sheet::SheetPull;
pub use sheet::SheetRoleLine;
pub use sheet::SheetSpeed;
pub use sheet_repeat::InstrumentUse;
pub use sheet_repeat::Learned;
pub use sheet_repeat::LearnedLine;
pub use sheet_repeat::LearnedWords;
pub use sheet_repeat::RepeatLine;
pub use sheet_repeat::RepeatStatus;
pub use sheet_repeat::SheetInstrument;
pub use table::TableAnswer;
pub use trail::TrailAnswer;
pub use trail::TrailEvent;
pub use trail::TrailWritten;
pub use verify::GroundsLine;
pub use verify::MechanismLine;
pub use verify::MovedFigureLine;
pub use verify::RecomputedLine;
pub use verify::SignatureLine;
pub use verify::SignedCommitsLine;
pub use verify::TimeStampLine;
pub use verify::VerifyAnswer;
pub use weigh::EquivalenceLine;
pub use weigh::Excluded;
pub use weigh::RulingLine;
pub use weigh::SpreadLine;
pub use weigh::WeighAnswer;
pub use weigh::WeighUnit;
pub use weigh::Weighed;
pub use weigh::WithInterval;
pub use weigh_band::BandLine;
pub use weigh_band::BandRow;
pub use weigh_band::RangeLine;
pub use weigh_figures::CrossingLine;
pub use weigh_figures::SideFigure;
pub use weigh_figures::SweepLine;
pub use weigh_plan::PlanChoice;
pub use weigh_plan::PlanLine;
pub use weigh_plan::Planned;
pub use weigh_rests::BudgetLine;
pub use weigh_rests::ChosenLine;
pub use weigh_rests::PullFigure;
pub use weigh_rests::ShareLine;
pub use weigh_rests::TuningLine;
pub use weigh_rests::UnknownLine;

use serde::Serialize;

/// An answer with the name and version of its shape.
#[derive(Debug, Clone, Serialize)]
pub struct Envelope<'a, T> {
    /// The name of the shape (`diff`).
    pub answer: &'a str,
    /// Its version.
    pub version: u32,
    /// The day that it speaks of, where it was asked as known on one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub known: Option<&'a KnownLine>,
    /// The answer itself.
    #[serde(flatten)]
    pub body: &'a T,
}
