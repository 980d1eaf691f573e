//! The logs of many pulls, read on as many threads as the machine has cores; what comes out does not depend on them.

use std::sync::Arc;
use std::sync::Mutex;
use std::sync::mpsc::Receiver;
use std::sync::mpsc::Sender;
use std::sync::mpsc::channel;
use std::sync::mpsc::sync_channel;
use std::thread;

use crate::check::Side;
use crate::derive;
use crate::store::Book;
use crate::workflow::Failure;
use crate::workflow::Library;
use crate::workflow::log::Log;
use crate::workflow::log::Logged;
use crate::workflow::log::Rows;
use crate::workflow::sweep::Channels;
use crate::workflow::sweep::Found;
use crate::workflow::sweep::Plan;
use crate::workflow::sweep::Wanted;

/// Pulls whose logs are opened before a thread is free to read them.
const AHEAD: usize = 2;

/// Pulls with the curves of their logs, and the means of their channels put on them.
pub(super) type Gathered = Vec<(Side, Found)>;

/// The logs of one pull, and its number among those asked for.
type Job = (usize, Vec<Log>);
type Done = (usize, Result<Vec<Logged>, Failure>);

/// Reads the logs of the sides, in any order, and hands them on in the order given. While logs are read, the next side
/// is gathered.
///
/// # Errors
/// What gathering a side fails with; a file that its columns record does not fit, the first of them in the order given.
pub(super) fn with_curves(
    book: &Book,
    library: &Library,
    sides: impl Iterator<Item = Result<Side, Failure>>,
    step_rpm: u32,
) -> Result<Gathered, Failure> {
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let mut planned: Vec<(Side, Plan)> = Vec::new();
    let mut logged: Vec<Done> = Vec::new();
    let (to_do, jobs) = sync_channel::<Job>(AHEAD);
    // Held by the threads alone: where all have ended, what is sent to them fails instead of waiting for ever.
    let jobs = Arc::new(Mutex::new(jobs));
    thread::scope(|scope| -> Result<(), Failure> {
        // Dropped at the end of this scope, whatever ends it, which ends the threads.
        let to_do = to_do;
        let (done, results) = channel::<Done>();
        for _ in 0..threads {
            let (jobs, done) = (Arc::clone(&jobs), done.clone());
            scope.spawn(move || work(&jobs, &done));
        }
        drop((jobs, done));
        for side in sides {
            let side = side?;
            // Compression ignition is corrected by its fuel near each speed.
            let near_speeds = derive::ignites_by_compression(&side.ground(library.kinds()));
            let means = Some(Channels::OfWeighing { near_speeds });
            let mut plan = Plan::of(book, library, &side, Wanted { step_rpm: Some(step_rpm), means })?;
            // A thread ends early only by a panic, which the scope hands on when the others have ended.
            let _ = to_do.send((planned.len(), plan.take_logs()));
            planned.push((side, plan));
        }
        drop(to_do);
        logged.extend(results);
        Ok(())
    })?;
    logged.sort_by_key(|(number, _)| *number);
    let mut gathered = Vec::with_capacity(planned.len());
    for ((mut side, plan), (_, logged)) in planned.into_iter().zip(logged) {
        let curve = plan.finish(logged?, &side, library.kinds()).put_on(&mut side);
        gathered.push((side, curve));
    }
    Ok(gathered)
}

/// Reads logs until none is left.
fn work(jobs: &Mutex<Receiver<Job>>, done: &Sender<Done>) {
    let mut rows = Rows::default();
    loop {
        let job = jobs.lock().map(|jobs| jobs.recv());
        let Ok(Ok((number, logs))) = job else { break };
        let logged = logs.into_iter().map(|log| log.read(&mut rows)).collect();
        if done.send((number, logged)).is_err() {
            break;
        }
    }
}
