//! The documented-check: whether two sides may be compared at all, and what differs between them.
//!
//! In: two [`Side`]s with every record they rest on, and the compiled schemas. Out: a [`Refusal`] that names each gap
//! with the command that closes it, or a [`Checked`] value that later rooms demand before they print one two-sided
//! figure. It never guesses, and no argument turns a refusal off.

mod alarms;
mod basis;
mod changes;
mod close;
mod documented;
mod doubts;
mod flow;
mod ground;
mod rows;
mod sheet;
mod side;
mod told;

pub use alarms::Alarm;
pub use alarms::AlarmStatus;
pub use alarms::alarms_of;
pub use basis::NoBasis;
pub use basis::OneBasis;
pub use basis::Wanted;
pub use changes::Change;
pub use changes::ChangeGroup;
pub use close::Close;
pub use documented::Checked;
pub use documented::Gap;
pub use documented::GapSide;
pub use documented::OpenQuestion;
pub use documented::Refusal;
pub use documented::documented;
pub use documented::gaps_of;
pub use documented::soft_of;
pub use doubts::ChannelDoubts;
pub use doubts::DoubtOn;
pub use doubts::doubts_of;
pub use flow::CheckedFlow;
pub use flow::FlowChange;
pub use flow::FlowSide;
pub use flow::documented_flow;
pub use flow::flow_gaps;
pub use flow::flow_sheet_of;
pub use flow::flow_soft;
pub use sheet::Sheet;
pub use sheet::SheetItem;
pub use sheet::SheetRole;
pub use sheet::conditions_of;
pub use sheet::configuration_of;
pub use sheet::running_of;
pub use sheet::sheet_of;
pub use side::Side;
pub use side::Wear;
pub use told::Group;
pub use told::Item;
pub use told::Shown;
pub use told::Told;
pub use told::Why;
