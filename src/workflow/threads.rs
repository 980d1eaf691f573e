//! Long work over many records, shared out to as many threads as there are processors.

use std::sync::Mutex;
use std::sync::mpsc;

use crate::workflow::Failure;

/// From how many pieces of work on it pays to open the book once more for each further thread.
pub(super) const MANY: usize = 8;

/// Does each piece of work and hands the outcomes back in the order of the pieces. Each thread begins with what it alone
/// works with: a book or library of its own. `done` is told how many are.
///
/// # Errors
/// The first that a thread met; work that was not begun by then is left.
pub(super) fn share<S, T: Send, R: Send>(
    pieces: Vec<T>,
    begin: impl Fn() -> Result<S, Failure> + Sync,
    work: impl Fn(&mut S, T) -> Result<R, Failure> + Sync,
    done: &dyn Fn(u64),
) -> Result<Vec<R>, Failure> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(pieces.len());
    let waiting = Mutex::new(pieces.into_iter().enumerate());
    let (send, receive) = mpsc::channel();
    let mut outcomes = std::thread::scope(|scope| -> Result<Vec<(usize, R)>, Failure> {
        for _ in 0..threads {
            let (send, waiting, begin, work) = (send.clone(), &waiting, &begin, &work);
            scope.spawn(move || {
                let outcome = begin().and_then(|mut own| {
                    loop {
                        let next = waiting.lock().map(|mut waiting| waiting.next()).unwrap_or_default();
                        let Some((place, piece)) = next else { return Ok(()) };
                        // Nobody waits any more where another thread met an error.
                        if send.send(Ok((place, work(&mut own, piece)?))).is_err() {
                            return Ok(());
                        }
                    }
                });
                if let Err(failure) = outcome {
                    let _ = send.send(Err(failure));
                }
            });
        }
        drop(send);
        let mut outcomes = Vec::new();
        // Where this ends early the threads find that nobody receives.
        for (count, outcome) in (0..).zip(receive) {
            done(count);
            outcomes.push(outcome?);
        }
        Ok(outcomes)
    })?;
    outcomes.sort_unstable_by_key(|(place, _)| *place);
    Ok(outcomes.into_iter().map(|(_, outcome)| outcome).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::finding::Finding;

    #[test]
    fn outcomes_come_in_the_order_of_their_pieces_and_an_error_ends_the_work() {
        let begin = || Ok(3_u64);
        let tripled = share((0..1000_u64).collect(), begin, |by, piece| Ok(*by * piece), &|_| ());
        assert_eq!(tripled.expect("no error"), (0..1000).map(|piece| 3 * piece).collect::<Vec<_>>());
        let none = share(Vec::<u64>::new(), begin, |by, piece| Ok(*by * piece), &|_| ());
        assert!(none.expect("no error").is_empty());
        let wrong = |_: &mut u64, piece: u64| match piece {
            500 => Err(Finding::error("not-found", "five hundred").into()),
            _ => Ok(piece),
        };
        assert!(share((0..1000).collect(), begin, wrong, &|_| ()).is_err());
        let never = || Err::<u64, Failure>(Finding::error("not-found", "no book").into());
        assert!(share(vec![1_u64], never, |_, piece| Ok(piece), &|_| ()).is_err());
    }
}
