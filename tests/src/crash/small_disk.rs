//! A file system of its own in memory, so small that it can be filled; gone when dropped.

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use tempfile::TempDir;

/// The file that fills it.
const BALLAST: &str = "ballast";

/// A mounted disk.
pub struct SmallDisk {
    folder: TempDir,
}

fn as_root(program: &str, words: &[&str]) -> bool {
    let is_root = std::fs::metadata("/proc/self")
        .is_ok_and(|mine| std::os::unix::fs::MetadataExt::uid(&mine) == 0);
    let mut command = if is_root {
        Command::new(program)
    } else {
        let mut command = Command::new("sudo");
        command.args(["-n", program]);
        command
    };
    let quiet =
        command.args(words).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    quiet.status().is_ok_and(|status| status.success())
}

impl SmallDisk {
    /// Mounts one of so many kB; says loudly what is left out where nothing can be mounted.
    pub fn of(kilobytes: u32, left_out: &str) -> Option<Self> {
        let folder = tempfile::tempdir().expect("a folder");
        let size = format!("size={kilobytes}k,mode=0777");
        let path = folder.path().to_str().expect("a plain path");
        if as_root("mount", &["-t", "tmpfs", "-o", &size, "tmpfs", path]) {
            return Some(Self { folder });
        }
        assert!(!super::strace::is_demanded(), "nothing can be mounted here for {left_out}");
        eprintln!("LEFT OUT: {left_out}. Nothing can be mounted on this machine.");
        None
    }

    /// Where it is mounted.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Fills it until so many kB are left.
    pub fn fill_but(&self, kilobytes: u64) {
        let mut ballast = File::create(self.folder().join(BALLAST)).expect("a file");
        let mut length = 0;
        while let Ok(written) = ballast.write(&[1; 4096]) {
            length += written as u64;
        }
        ballast.set_len(length - kilobytes * 1024).expect("a shorter file");
    }

    /// Makes room again.
    pub fn empty(&self) {
        std::fs::remove_file(self.folder().join(BALLAST)).expect("it was filled");
    }

    /// Lets nothing be written any more, or again.
    pub fn remount(&self, how: &str) {
        let path = self.folder().to_str().expect("a plain path");
        assert!(as_root("mount", &["-o", &format!("remount,{how}"), path]), "remounted {how}");
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        as_root("umount", &["-l", self.folder().to_str().unwrap_or_default()]);
    }
}
