//! Valid records and what follows from them.
//!
//! In: readings of `quantity`, compiled schemas ([`Kinds`]). Out: parts with their states, builds, pulls, sessions,
//! and the rules that resolve a figure. This room knows no YAML and no disk, and it judges no comparison.

mod build;
pub mod channel;
pub mod columns;
mod effective;
mod figure;
mod flow;
mod kind;
mod moment;
mod part;
mod pull;
mod session;

pub use build::Answer;
pub use build::Build;
pub use build::Corrected;
pub use build::Correction;
pub use build::PartState;
pub use build::is_tag;
pub use effective::Effective;
pub use effective::Held;
pub use effective::Origin;
pub use effective::RoleHeld;
pub use figure::Course;
pub use figure::Doubted;
pub use figure::Entry;
pub use figure::Figure;
pub use figure::Known;
pub use figure::Standing;
pub use figure::Value;
pub use flow::FlowSheet;
pub use flow::LiftPoint;
pub use flow::PortSide;
pub use kind::Demand;
pub use kind::FieldSpec;
pub use kind::FitSpec;
pub use kind::Holds;
pub use kind::Kinds;
pub use kind::PartKind;
pub use kind::RoleSpec;
pub use kind::Voids;
pub use kind::WorkSpec;
pub use moment::Moment;
pub use part::Never;
pub use part::Part;
pub use part::Resolved;
pub use part::State;
pub use part::Whereabouts;
pub use part::Work;
pub use pull::Change;
pub use pull::Correcting;
pub use pull::Outcome;
pub use pull::Pull;
pub use pull::RawFile;
pub use pull::RecordedDoubt;
pub use session::BookPage;
pub use session::Calibration;
pub use session::Cell;
pub use session::Instrument;
pub use session::Person;
pub use session::Scope;
pub use session::Session;
pub use session::StatedUncertainty;
