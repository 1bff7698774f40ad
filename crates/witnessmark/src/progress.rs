//! A bar on standard error for work that takes longer than a second, on a terminal only.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::surroundings::Stopwatch;
use crate::talk::Talk;

/// How long work goes on in silence \[ours, asked for by the manners of the command line\].
const SILENCE: Duration = Duration::from_secs(1);

/// A bar that shows itself after a second.
#[derive(Debug)]
pub(crate) struct Bar {
    bar: ProgressBar,
    begun: Stopwatch,
}

impl Bar {
    /// A bar that nobody sees yet.
    pub(crate) fn new(what: &'static str, talk: &Talk) -> Self {
        Self::styled("{msg} [{bar:30}] {pos} of {len}, {eta} left", what, talk)
    }

    /// A bar of bytes that nobody sees yet.
    pub(crate) fn bytes(what: &'static str, talk: &Talk) -> Self {
        Self::styled("{msg} [{bar:30}] {bytes} of {total_bytes}, {eta} left", what, talk)
    }

    fn styled(template: &str, what: &'static str, talk: &Talk) -> Self {
        let bar = ProgressBar::hidden();
        let style = ProgressStyle::with_template(template);
        if let Ok(style) = style {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.set_message(what);
        if talk.json() {
            bar.set_length(0);
        }
        Self { bar, begun: Stopwatch::start() }
    }

    /// Moves the bar, and shows it once a second has gone by.
    pub(crate) fn at(&self, done: u64, of: u64) {
        if self.bar.is_hidden() && self.begun.elapsed() >= SILENCE && console::Term::stderr().is_term() {
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        self.bar.set_length(of);
        self.bar.set_position(done);
    }

    /// Takes the bar away.
    pub(crate) fn away(&self) {
        self.bar.finish_and_clear();
    }
}
