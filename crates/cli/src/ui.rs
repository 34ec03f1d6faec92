use std::fmt::Display;
use std::io::{self, Write as _};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use anyhow::Context as _;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::terminal::dressed;

/// Work that takes less needs no bar.
const DRAW_DELAY: Duration = Duration::from_secs(1);

/// Where text for the user goes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ui {
    quiet: bool,
}

impl Ui {
    pub(crate) fn new(quiet: bool) -> Self {
        Self { quiet }
    }

    /// Says something worth knowing on the standard error.
    pub(crate) fn note(self, text: impl Display) {
        if !self.quiet {
            // Where the standard error is gone there is nobody to tell.
            let _ = writeln!(io::stderr(), "note: {text}");
        }
    }

    /// Says several things.
    pub(crate) fn notes<T: Display>(self, list: &[T]) {
        for text in list {
            self.note(text);
        }
    }

    /// A progress bar on the standard error: after a second, on a terminal only.
    pub(crate) fn progress(self, what: &'static str) -> Progress {
        self.bar(what, "{msg} [{bar:40}] {percent} %")
    }

    /// The same for hours of work: with the pieces done and the time that remains.
    pub(crate) fn long_progress(self, what: &'static str) -> Progress {
        self.bar(what, "{msg} [{bar:40}] {pos}/{len}, {eta} left")
    }

    fn bar(self, what: &'static str, template: &str) -> Progress {
        let bar = ProgressBar::hidden();
        // Without these settings the bar keeps its plain look.
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.set_message(what);
        Progress {
            bar,
            started: Instant::now(),
            is_settled: AtomicBool::new(self.quiet),
        }
    }
}

/// Progress of one piece of work; cleared when dropped.
pub(crate) struct Progress {
    bar: ProgressBar,
    started: Instant,
    /// Whether the bar is shown, or never will be.
    is_settled: AtomicBool,
}

impl Progress {
    /// `done` out of `all`; may be called from any thread.
    pub(crate) fn at(&self, done: usize, all: usize) {
        if self.started.elapsed() > DRAW_DELAY && !self.is_settled.swap(true, Ordering::Relaxed) {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        self.bar.set_length(all as u64);
        self.bar.set_position(done as u64);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// Writes a result to the standard output. A reader that has seen enough and gone away is no fault.
pub(crate) fn print(text: &str) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        result => result.context("cannot write to the standard output"),
    }
}

/// Writes a report for people to the standard output, dressed for a terminal where it is one.
pub(crate) fn print_report(text: &str) -> anyhow::Result<()> {
    print(&dressed(text))
}
