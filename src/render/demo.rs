//! The demo's story as text.

use crate::answer::DemoAnswer;
use crate::answer::DemoShown;
use crate::render::Look;
use crate::render::Page;
use crate::render::page::Tone;

/// The demo as it went: what happens, the command, what it shows.
pub fn demo(answer: &DemoAnswer, look: Look) -> String {
    let mut page = Page::new(look);
    for (number, step) in answer.steps.iter().enumerate() {
        page.gap();
        page.line(0, Tone::Heading, &format!("{}. {}", number + 1, step.what));
        if let Some(command) = &step.command {
            page.gap();
            page.verbatim(2, Tone::Faint, &format!("$ {command}"));
        }
        page.gap();
        let narrower = Look { width: look.width.saturating_sub(2), ..look };
        let shown = match &step.shown {
            DemoShown::Words { words } => format!("{words}\n"),
            DemoShown::Entered(entered) => super::entered(entered, narrower),
            DemoShown::Pull(pull) => super::pull_entered(pull, narrower),
            DemoShown::Diff(diff) => super::diff(diff, narrower),
        };
        page.laid_out(2, &shown);
    }
    page.heading("Now yours");
    for next in &answer.next {
        page.verbatim(2, Tone::Plain, next);
    }
    page.finish()
}
