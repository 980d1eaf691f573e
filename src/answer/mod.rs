//! What the use cases answer, and the JSON shapes of it.
//!
//! In: values of the rooms below. Out: plain structs that `render` shows as text or JSON; `schema/answers/` describes
//! each shape. Nothing is computed here beyond putting values into words.

mod audit;
mod demo;
mod diff;
mod entry;
mod flow;
mod gaps;
mod look;

pub use audit::AuditAnswer;
pub use demo::DemoAnswer;
pub use demo::DemoShown;
pub use demo::DemoStep;
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
pub use entry::Entered;
pub use entry::PullEntered;
pub use entry::PullLine;
pub use entry::Written;
pub use flow::FlowChangeLine;
pub use flow::FlowCompared;
pub use flow::FlowDiffAnswer;
pub use flow::FlowEntered;
pub use flow::FlowLine;
pub use flow::FlowPoint;
pub use flow::FlowRow;
pub use gaps::GapLine;
pub use gaps::GapsAnswer;
pub use look::ChannelLine;
pub use look::LookAnswer;
pub use look::SegmentLine;

use serde::Serialize;

/// An answer with the name and version of its shape.
#[derive(Debug, Clone, Serialize)]
pub struct Envelope<'a, T> {
    /// The name of the shape (`diff`).
    pub answer: &'a str,
    /// Its version.
    pub version: u32,
    /// The answer itself.
    #[serde(flatten)]
    pub body: &'a T,
}
