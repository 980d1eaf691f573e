//! Who ran what when: sessions, builds and pulls in the order they were run.

use super::truth::SetUp;
use super::truth::USUAL_TIMING_DEG;

/// How the bench's software wrote a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    /// Comma, units in the header's brackets, UTF-8, line feeds, with the weather as channels.
    Bracketed,
    /// Semicolon, decimal comma, a row of units, Windows-1252; the weather was written on paper.
    UnitRow,
    /// Tab, lines of `key: value` above the table, carriage returns; the weather stands in those lines.
    Preamble,
    /// Comma, lb-ft, hp, °F and inHg, two pulls in one file with the time starting again.
    TwoRuns,
}

/// One sitting.
pub(crate) struct Session {
    pub(crate) tag: &'static str,
    /// `YYYY-MM-DD`.
    pub(crate) day: &'static str,
    pub(crate) by: &'static str,
    /// Weather at the first pull, and its change with each pull: air in °C, station pressure in kPa, humidity in %.
    pub(crate) weather: [f64; 3],
    pub(crate) weather_step: [f64; 3],
}

pub(crate) const SESSIONS: [Session; 3] = [
    Session {
        tag: "0411a",
        day: "2026-04-11",
        by: "mk",
        weather: [16.8, 98.42, 52.0],
        weather_step: [0.35, -0.024, -0.9],
    },
    Session {
        tag: "0418a",
        day: "2026-04-18",
        by: "jo",
        weather: [19.6, 97.63, 47.0],
        weather_step: [0.30, 0.017, -0.6],
    },
    Session {
        tag: "0509a",
        day: "2026-05-09",
        by: "mk",
        weather: [22.4, 98.07, 41.0],
        weather_step: [0.40, -0.010, 0.4],
    },
];

/// A build as it truly was. Its manifest may say less: see [`SILENT_ON_SPACER`].
pub(crate) struct Build {
    pub(crate) tag: &'static str,
    pub(crate) head: &'static str,
    pub(crate) header: &'static str,
    pub(crate) intake: &'static str,
}

#[rustfmt::skip] // a table reads in columns
pub(crate) const BUILDS: [Build; 8] = [
    Build { tag: "b1", head: "h2/a", header: "long-1",  intake: "trumpets-90" },
    Build { tag: "b2", head: "h2/a", header: "step-1",  intake: "trumpets-90" },
    Build { tag: "b3", head: "h2/a", header: "step-1",  intake: "plenum-1" },
    Build { tag: "b4", head: "h2/b", header: "long-1",  intake: "trumpets-90" },
    Build { tag: "b5", head: "h2/b", header: "step-1",  intake: "trumpets-90" },
    Build { tag: "b6", head: "h2/b", header: "short-1", intake: "trumpets-90" },
    Build { tag: "b7", head: "h1/a", header: "long-1",  intake: "trumpets-90" },
    Build { tag: "b8", head: "h1/a", header: "long-1",  intake: "plenum-1" },
];

/// The build whose manifest has no line for the spacer.
pub(crate) const SILENT_ON_SPACER: &str = "b5";

/// One dyno run.
pub(crate) struct Pull {
    pub(crate) session: &'static str,
    pub(crate) order: u32,
    /// Hour and minute, local time.
    pub(crate) at: &'static str,
    pub(crate) build: &'static str,
    /// Which time, in this session, these parts are together.
    pub(crate) assembly: &'static str,
    pub(crate) shape: Shape,
    /// Place in a file of two runs.
    pub(crate) segment: Option<u32>,
    /// The spacer was on, though no record says so.
    pub(crate) spacer: bool,
    pub(crate) timing_deg: f64,
    /// Oil and coolant as the load comes on, in °C.
    pub(crate) oil_c: f64,
    pub(crate) coolant_c: f64,
    pub(crate) note: Option<&'static str>,
}

const fn pull(
    session: &'static str,
    order: u32,
    at: &'static str,
    (build, assembly): (&'static str, &'static str),
    shape: Shape,
    (oil_c, coolant_c): (f64, f64),
) -> Pull {
    Pull {
        session,
        order,
        at,
        build,
        assembly,
        shape,
        segment: None,
        spacer: false,
        timing_deg: USUAL_TIMING_DEG,
        oil_c,
        coolant_c,
        note: None,
    }
}

impl Pull {
    const fn with_spacer(mut self) -> Self {
        self.spacer = true;
        self
    }

    const fn timed(mut self, deg: f64) -> Self {
        self.timing_deg = deg;
        self
    }

    const fn noted(mut self, note: &'static str) -> Self {
        self.note = Some(note);
        self
    }

    const fn run(mut self, segment: u32) -> Self {
        self.segment = Some(segment);
        self
    }

    /// The pull's number in the book.
    pub(crate) fn id(&self) -> String {
        format!("{}-{:02}", self.session, self.order)
    }

    /// The file it lies in.
    pub(crate) fn file(&self) -> String {
        let day = self.session.trim_end_matches('a');
        match self.shape {
            Shape::Bracketed => format!("tarnbeck-{day}-{:02}.csv", self.order),
            Shape::UnitRow => format!("office-{day}-{:02}.csv", self.order),
            Shape::Preamble => format!("tarnbeck-{day}-{:02}.txt", self.order),
            Shape::TwoRuns => format!("quillo-{day}-{}.csv", self.build),
        }
    }

    /// The session it belongs to.
    pub(crate) fn sitting(&self) -> &'static Session {
        SESSIONS
            .iter()
            .find(|session| session.tag == self.session)
            .expect("every pull of the schedule belongs to a session")
    }

    /// True weather at the pull: air in °C, station pressure in kPa, humidity in %.
    pub(crate) fn weather(&self) -> [f64; 3] {
        let sitting = self.sitting();
        let step = f64::from(self.order - 1);
        [0, 1, 2].map(|at| sitting.weather[at] + step * sitting.weather_step[at])
    }

    /// What was truly on the engine.
    pub(crate) fn set_up(&self) -> SetUp {
        let build = BUILDS
            .iter()
            .find(|build| build.tag == self.build)
            .expect("every pull of the schedule belongs to a build");
        SetUp {
            head: build.head,
            header: build.header,
            intake: build.intake,
            spacer: self.spacer,
            timing_deg: self.timing_deg,
        }
    }
}

use Shape::{Bracketed, Preamble, TwoRuns, UnitRow};

#[rustfmt::skip] // a table reads in columns
pub(crate) const PULLS: [Pull; 24] = [
    pull("0411a",  1, "09:40", ("b1", "first"),  Bracketed, (85.0, 79.0)),
    pull("0411a",  2, "09:54", ("b1", "first"),  Bracketed, (86.0, 79.5)),
    pull("0411a",  3, "10:08", ("b1", "first"),  Bracketed, (86.5, 80.0)),
    pull("0411a",  4, "11:21", ("b2", "first"),  Bracketed, (85.5, 79.0)),
    pull("0411a",  5, "11:35", ("b2", "first"),  Bracketed, (86.5, 80.0)),
    pull("0411a",  6, "11:49", ("b2", "first"),  Bracketed, (86.5, 80.0)),
    pull("0411a",  7, "13:44", ("b3", "first"),  UnitRow,   (85.0, 79.5))
        .noted("console would not write to its stick; from here on exported on the office machine"),
    pull("0411a",  8, "13:58", ("b3", "first"),  UnitRow,   (86.0, 80.0)),
    pull("0411a",  9, "15:46", ("b1", "second"), UnitRow,   (85.5, 79.5))
        .noted("long-1 and the trumpets back on"),
    pull("0411a", 10, "16:00", ("b1", "second"), UnitRow,   (86.5, 80.0)),
    pull("0418a",  1, "09:25", ("b4", "first"),  Preamble,  (84.5, 79.0)),
    pull("0418a",  2, "09:39", ("b4", "first"),  Preamble,  (86.0, 79.5)),
    pull("0418a",  3, "10:58", ("b5", "first"),  Preamble,  (85.0, 79.0)),
    pull("0418a",  4, "11:12", ("b5", "first"),  Preamble,  (86.0, 80.0)),
    pull("0418a",  5, "11:51", ("b5", "spacer"), Preamble,  (85.5, 79.5)).with_spacer(),
    pull("0418a",  6, "12:05", ("b5", "spacer"), Preamble,  (86.5, 80.0)).with_spacer(),
    pull("0418a",  7, "12:44", ("b5", "third"),  Preamble,  (85.5, 79.5)).timed(28.0)
        .noted("pinking heard at the last one: three degrees taken off"),
    pull("0418a",  8, "14:20", ("b6", "first"),  Preamble,  (85.0, 79.0)),
    pull("0418a",  9, "14:34", ("b6", "first"),  Preamble,  (86.0, 80.0)),
    pull("0418a", 10, "15:52", ("b4", "second"), Preamble,  (85.5, 79.5))
        .noted("long-1 back on; one pull only, the gate shuts at four"),
    pull("0509a",  1, "10:05", ("b7", "first"),  TwoRuns,   (85.5, 79.5)).run(1),
    pull("0509a",  2, "10:19", ("b7", "first"),  TwoRuns,   (86.5, 80.0)).run(2),
    pull("0509a",  3, "11:48", ("b8", "first"),  TwoRuns,   (85.5, 79.5)).run(1),
    pull("0509a",  4, "12:02", ("b8", "first"),  TwoRuns,   (86.5, 80.0)).run(2),
];
