use std::path::{Path, PathBuf};

use clap::Args;
use evenstep::fit::NextPatch;
use evenstep::readings::{PatchRequest, write_patches_csv, write_patches_csv_to};

use crate::{output, ui};

/// Which patches to read next.
#[derive(Args, Debug)]
#[command(next_help_heading = "Patches to read next")]
pub(crate) struct NextArgs {
    /// Patches to name that would help most if they were read too
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u16).range(1..=200))]
    next: u16,
    /// Write them as a patch list, as simulate and predict read it with --at
    #[arg(long, value_name = "FILE|-")]
    next_patches: Option<PathBuf>,
}

impl NextArgs {
    pub(crate) fn count(&self) -> usize {
        usize::from(self.next)
    }

    /// The file to write.
    pub(crate) fn output(&self) -> Option<&Path> {
        self.next_patches.as_deref()
    }

    /// Whether the list takes the place of the text on the standard output.
    pub(crate) fn is_stdout(&self) -> bool {
        self.output().is_some_and(output::is_stdout)
    }

    /// Writes the list where it was asked for.
    pub(crate) fn write(&self, next: Option<&[NextPatch]>, force: bool) -> anyhow::Result<()> {
        let Some(path) = self.output() else {
            return Ok(());
        };
        let next = next.ok_or_else(|| {
            anyhow::anyhow!(
                "--next-patches: nothing here says which patches to read next; compare needs readings of the panel, and \
                 readings must be such that a part can be left out"
            )
        })?;
        let list: Vec<PatchRequest> = next.iter().map(NextPatch::request).collect();
        if output::is_stdout(path) {
            let mut text = Vec::new();
            write_patches_csv_to(&list, &mut text)?;
            return ui::print(&String::from_utf8_lossy(&text));
        }
        write_patches_csv(&list, path, force)?;
        Ok(())
    }
}
