use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::channel;

use crate::{Case, Cost, Judge, Meter, PlanError, Row, Stage, Status, run_case};

/// A case that is done.
#[derive(Clone, Debug, PartialEq)]
pub struct Finished {
    /// Its row.
    pub row: Row,
    /// What it took.
    pub cost: Cost,
}

/// Runs cases on `workers` threads, each case on one of them alone, and hands over each as it finishes.
///
/// Rows do not depend on the number of workers, the order in which they finish does. When `done` fails no new case is
/// started and its error is returned. `measured` are the stages of the displays among the panels.
///
/// # Errors
/// Those of `done`, and [`PlanError`] of a panel nobody knows.
pub fn run<E: From<PlanError>>(
    cases: &[Case],
    measured: &[Stage],
    workers: usize,
    meter: &Meter<'_>,
    done: impl FnMut(Finished) -> Result<(), E>,
) -> Result<(), E> {
    let mut simulated: BTreeMap<&str, Stage> = BTreeMap::new();
    for case in cases {
        let name = case.panel.as_str();
        if !simulated.contains_key(name) && measured.iter().all(|s| s.name() != name) {
            simulated.insert(name, Stage::new(name)?);
        }
    }
    let judges: BTreeMap<&str, Judge<'_>> = measured
        .iter()
        .filter(|stage| cases.iter().any(|c| c.panel == stage.name()))
        .chain(simulated.values())
        .map(|stage| (stage.name(), Judge::new(stage)))
        .collect();
    let work = |case: &Case| guarded(case, &judges[case.panel.as_str()], meter);
    spread(cases, workers, work, done)
}

/// Does the work of each item on one of `workers` threads alone, what it computes in parallel too, and hands over what
/// comes of it as it finishes. When `done` fails nothing new is started.
pub(crate) fn spread<T: Sync, R: Send, E>(
    items: &[T],
    workers: usize,
    work: impl Fn(&T) -> R + Sync,
    mut done: impl FnMut(R) -> Result<(), E>,
) -> Result<(), E> {
    let next = AtomicUsize::new(0);
    let (send, receive) = channel();
    std::thread::scope(|scope| {
        for _ in 0..workers.clamp(1, items.len().max(1)) {
            let (send, next, work) = (send.clone(), &next, &work);
            scope.spawn(move || {
                // What a case computes in parallel it computes here, on this one thread.
                let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build();
                while let Some(item) = items.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let alone = || work(item);
                    let finished = pool.as_ref().map_or_else(|_| alone(), |p| p.install(alone));
                    if send.send(finished).is_err() {
                        break;
                    }
                }
            });
        }
        drop(send);
        for finished in &receive {
            if let Err(error) = done(finished) {
                next.store(items.len(), Ordering::Relaxed);
                return Err(error);
            }
        }
        Ok(())
    })
}

/// A scheme that breaks off takes its own case with it and no other.
fn guarded(case: &Case, judge: &Judge<'_>, meter: &Meter<'_>) -> Finished {
    let (row, cost) = catch_unwind(AssertUnwindSafe(|| run_case(case, judge, meter)))
        .unwrap_or_else(|panic| {
            let said = panic
                .downcast_ref::<String>()
                .map(String::as_str)
                .or_else(|| panic.downcast_ref::<&str>().copied())
                .unwrap_or("no message");
            let row = Row::without_figures(case, Status::Broken, said.to_owned());
            (row, Cost::default())
        });
    Finished { row, cost }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Grid, Plan, unmetered};

    fn cases() -> Vec<Case> {
        let grid = Grid {
            schemes: ["rbf-linear", "nearest", "base-only"]
                .map(|s| s.parse().unwrap())
                .to_vec(),
            panels: vec!["wrgb".to_owned()],
            patches: vec![50],
            noise: vec![1.0],
            seeds: vec![1, 2],
            readings: Vec::new(),
        };
        Plan { grids: vec![grid] }.cases().unwrap()
    }

    fn rows(workers: usize) -> Vec<Row> {
        let mut rows = Vec::new();
        let run = run(&cases(), &[], workers, &unmetered, |finished| {
            rows.push(finished.row);
            Ok::<(), PlanError>(())
        });
        run.unwrap();
        rows.sort_by_key(Row::key);
        rows
    }

    #[test]
    fn rows_do_not_depend_on_the_number_of_workers() {
        let one = rows(1);
        assert_eq!(one.len(), cases().len());
        assert_eq!(one, rows(3));
    }

    /// What breaks off takes no other case with it.
    #[test]
    fn a_case_that_breaks_is_a_row_and_the_others_go_on() {
        use std::sync::atomic::AtomicBool;
        let is_first = AtomicBool::new(true);
        let fragile = |work: &mut dyn FnMut()| {
            assert!(!is_first.swap(false, Ordering::Relaxed), "out of order");
            unmetered(work)
        };
        let mut rows = Vec::new();
        run(&cases()[4..], &[], 1, &fragile, |finished| {
            rows.push(finished.row);
            Ok::<(), PlanError>(())
        })
        .unwrap();
        let statuses: Vec<Status> = rows.iter().map(|r| r.status).collect();
        assert_eq!(statuses, [Status::Broken, Status::Fitted]);
        assert_eq!(rows[0].reason.as_deref(), Some("out of order"));
    }

    #[test]
    fn an_error_of_the_caller_ends_the_run() {
        let mut calls = 0;
        let full = PlanError::Empty;
        let ended = run(&cases(), &[], 1, &unmetered, |_| {
            calls += 1;
            Err(full.clone())
        });
        assert_eq!((ended, calls), (Err(full), 1));
    }
}
