//! A folder of its own for every test, and the binary run in it.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// Nodes along an axis of LUTs in tests, for speed.
pub(crate) const NODES: &str = "9";

/// What a run gave.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl From<Output> for Run {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code().expect("ended by itself"),
            out: String::from_utf8(output.stdout).expect("text"),
            err: String::from_utf8(output.stderr).expect("text"),
        }
    }
}

impl Run {
    /// The one line that says what went wrong.
    pub(crate) fn error(&self) -> &str {
        assert_eq!(self.code, 2, "{self:?}");
        let mut lines = self.err.lines().filter(|l| !l.starts_with("note: "));
        let line = lines.next().expect("an error line");
        assert_eq!(lines.next(), None, "more than one line: {}", self.err);
        line.strip_prefix("evenstep: ").expect("the prefix")
    }
}

/// A folder for one test, removed with it.
pub(crate) struct Fixture {
    folder: tempfile::TempDir,
}

impl Fixture {
    pub(crate) fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a folder"),
        }
    }

    /// A folder with `run.csv`: undisturbed readings of `patches.csv`, the patch list of the foyer.
    pub(crate) fn with_readings() -> Self {
        let fixture = Self::new();
        let list =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/foyer/sparse-patches.csv");
        std::fs::copy(list, fixture.path("patches.csv")).expect("the list");
        fixture.done(&[
            "simulate",
            "--panel",
            "wrgb",
            "--at",
            "patches.csv",
            "-o",
            "run.csv",
            "--noise",
            "0",
        ]);
        fixture
    }

    /// The same with `c.cube`, fitted with few nodes.
    pub(crate) fn with_lut() -> Self {
        let fixture = Self::with_readings();
        fixture.done(&["fit", "run.csv", "-o", "c.cube", "--nodes", NODES]);
        fixture
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).expect(name)
    }

    pub(crate) fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).expect(name);
    }

    pub(crate) fn exists(&self, name: &str) -> bool {
        self.path(name).exists()
    }

    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_evenstep"));
        command
            .args(arguments)
            .current_dir(self.folder.path())
            .env_remove("COLUMNS")
            .stdin(Stdio::null());
        command
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Run {
        self.command(arguments).output().expect("it starts").into()
    }

    /// Runs what must succeed.
    pub(crate) fn done(&self, arguments: &[&str]) -> Run {
        let run = self.run(arguments);
        assert_eq!(run.code, 0, "{arguments:?}: {run:?}");
        run
    }
}

/// Readings from drives by a rule of light, as CSV.
pub(crate) fn readings(drives: &[[f64; 3]], light: impl Fn([f64; 3]) -> [f64; 3]) -> String {
    let mut csv = "r,g,b,X,Y,Z\n".to_owned();
    for &drive in drives {
        let cells: Vec<String> = drive
            .iter()
            .chain(&light(drive))
            .map(f64::to_string)
            .collect();
        csv += &cells.join(",");
        csv.push('\n');
    }
    csv
}

/// Ramps of grey, red, green and blue in `steps` steps.
pub(crate) fn ramps(steps: usize) -> Vec<[f64; 3]> {
    let masks = [
        [1.0, 1.0, 1.0],
        [1.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
        [0.0, 0.0, 1.0],
    ];
    let mut drives = vec![[0.0; 3]];
    for mask in masks {
        for i in 1..=steps {
            drives.push(mask.map(|m: f64| m * i as f64 / steps as f64));
        }
    }
    drives
}

/// A plain additive panel of power 2.2: BT.709 primaries at 100 cd/m², matrix from IEC 61966-2-1:1999 clause 5.3.
pub(crate) fn additive(drive: [f64; 3]) -> [f64; 3] {
    let [r, g, b] = drive.map(|d| 100.0 * d.powf(2.2));
    [
        0.05 + 0.4124 * r + 0.3576 * g + 0.1805 * b,
        0.05 + 0.2126 * r + 0.7152 * g + 0.0722 * b,
        0.05 + 0.0193 * r + 0.1192 * g + 0.9505 * b,
    ]
}
