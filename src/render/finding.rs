//! Findings and failures as text.

use crate::finding::Finding;
use crate::finding::Severity;
use crate::render::Look;
use crate::render::Page;
use crate::render::page::Tone;

/// A failure: each finding with place, what was found, what was expected, and the next step.
pub fn failure(findings: &[Finding], look: Look) -> String {
    let mut page = Page::new(look);
    for found in findings {
        finding(&mut page, 0, found);
    }
    page.finish()
}

/// One finding over as many lines as it needs.
pub(super) fn finding(page: &mut Page, indent: usize, finding: &Finding) {
    let (word, tone) = match finding.severity {
        Severity::Error => ("error", Tone::Bad),
        Severity::Doubt => ("doubt", Tone::Doubt),
        Severity::Note => ("note", Tone::Plain),
    };
    let place = finding.place.as_ref().map(|place| format!("{place}: ")).unwrap_or_default();
    page.line(indent, tone, &format!("{word}: {place}{}", finding.message));
    let rows = [("found", &finding.found), ("expected", &finding.expected), ("next", &finding.next)];
    for (name, text) in rows {
        if let Some(text) = text {
            page.pair(indent + 2, name, 8, text);
        }
    }
}
