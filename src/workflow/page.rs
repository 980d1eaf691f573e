//! Write a page: a file of its own, never in the place of another.

use std::io::Write;
use std::path::Path;

use crate::answer::PageAnswer;
use crate::finding::Finding;
use crate::store::Outward;
use crate::workflow::Failure;

/// Writes a page to a file that is not there yet.
///
/// # Errors
/// The path names no file, one of that name is there, or it cannot be written; nothing half-written is left.
pub fn write(file: &Path, shows: &'static str, commit: &str, html: &str) -> Result<PageAnswer, Failure> {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Some(name) = file.file_name().and_then(|name| name.to_str()) else {
        return Err(Failure::usage(
            Finding::error("not-a-file-name", "the page needs the name of a file")
                .found(file.display().to_string())
                .expected("for example report.html"),
        ));
    };
    let mut out = Outward::create(folder, name)?;
    if let Err(error) = out.write_all(html.as_bytes()).and_then(|()| out.flush()) {
        out.discard();
        return Err(Finding::error("page-not-written", format!("the page could not be written: {error}"))
            .found(file.display().to_string())
            .into());
    }
    Ok(PageAnswer {
        shows,
        file: file.display().to_string(),
        bytes: html.len() as u64,
        commit: commit.to_owned(),
        next: "open it in a browser; printing fits A4 and Letter".to_owned(),
    })
}
