//! A kill at any moment and a full disk leave the old file or the new one, never half.

use std::path::Path;
use std::process::{Command, Stdio};

use crate::support::Fixture;

const OLD: &str = "LUT_3D_SIZE 2\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n";

fn convert_in(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_evenstep"));
    command
        .current_dir(folder)
        .args([
            "convert",
            "in.cube",
            "-o",
            "out/lut.cube",
            "--nodes",
            "33",
            "--force",
            "--quiet",
        ])
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    command
}

/// A folder with `in.cube` and an `out` in it that holds the old file.
fn prepared() -> Fixture {
    let f = Fixture::new();
    std::fs::write(f.path("in.cube"), OLD).unwrap();
    std::fs::create_dir(f.path("out")).unwrap();
    std::fs::write(f.path("out/lut.cube"), OLD).unwrap();
    f
}

#[test]
fn a_kill_at_any_moment_leaves_the_old_file_or_the_new() {
    let f = prepared();
    let folder = f.path("");
    let time = || {
        let started = std::time::Instant::now();
        assert!(convert_in(&folder).status().unwrap().success());
        started.elapsed()
    };
    // The shorter of two: on a busy machine one run may take much longer than the rest.
    let whole = time().min(time());
    let new = std::fs::read(f.path("out/lut.cube")).unwrap();
    let (mut killed_later, mut olds_later) = (0, 0);
    for step in 0..7 {
        std::fs::write(f.path("out/lut.cube"), OLD).unwrap();
        let mut child = convert_in(&folder).spawn().unwrap();
        std::thread::sleep(whole.mul_f64(f64::from(step) / 6.0));
        // On Unix this is SIGKILL, which nothing can catch.
        child.kill().unwrap();
        let was_killed = !child.wait().unwrap().success();
        let left = std::fs::read(f.path("out/lut.cube")).unwrap();
        let is_old = left == OLD.as_bytes();
        assert!(
            is_old || left == new,
            "neither the old file nor the new: {} bytes",
            left.len()
        );
        // The first is killed before it has done anything, which shows nothing.
        if step > 0 {
            killed_later += usize::from(was_killed);
            olds_later += usize::from(is_old);
        }
    }
    assert!(
        killed_later > 0 && olds_later > 0,
        "every run that had begun its work was over before it was killed"
    );
}

/// A file system of 64 KiB, which only a privileged user may make; unmounted when dropped.
#[cfg(target_os = "linux")]
struct SmallDisk<'a>(&'a Path);

#[cfg(target_os = "linux")]
impl<'a> SmallDisk<'a> {
    fn mount(at: &'a Path) -> Option<Self> {
        let done = Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=64k", "tmpfs"])
            .arg(at)
            .stderr(Stdio::null())
            .status();
        done.is_ok_and(|s| s.success()).then_some(Self(at))
    }
}

#[cfg(target_os = "linux")]
impl Drop for SmallDisk<'_> {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0).status();
    }
}

#[cfg(target_os = "linux")]
#[test]
#[expect(clippy::print_stdout, reason = "a check that is left out says so")]
fn a_full_disk_leaves_the_old_file() {
    let f = prepared();
    let out = f.path("out");
    let Some(_disk) = SmallDisk::mount(&out) else {
        println!(
            "skipped: a full disk leaves the old file (no right to mount a small file system)"
        );
        return;
    };
    std::fs::write(out.join("lut.cube"), OLD).unwrap();
    let done = convert_in(&f.path("")).output().unwrap();
    assert_eq!(done.status.code(), Some(2));
    let said = String::from_utf8(done.stderr).unwrap();
    assert!(said.contains("cannot write"), "{said}");
    let names: Vec<_> = std::fs::read_dir(&out)
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    assert_eq!(names, ["lut.cube"]);
    assert_eq!(std::fs::read_to_string(out.join("lut.cube")).unwrap(), OLD);
}
