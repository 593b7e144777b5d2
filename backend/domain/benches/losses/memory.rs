//! The peak memory of a process that arranges, fits and forecasts, by how many rows it was given.

use std::process::Command;

use spareloop_domain::fit::fit;

use crate::winter::Invented;
use crate::{Size, ours};

/// The flag by which this program calls itself.
pub(crate) const OF: &str = "--peak-of-lots";

/// Does the work and prints the peak that Linux noted, in kB.
pub(crate) fn child(lots: u32) {
    let invented = Invented::of_lots(lots);
    let fitted = fit(&invented.data()).unwrap();
    let forecasts = ours::forecasts(&invented, &fitted);
    assert_eq!(forecasts.len(), lots as usize);
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    println!("{}", peak.and_then(|peak| peak.split_whitespace().next()).unwrap_or("unknown"));
}

fn peak(lots: u32) -> Option<f64> {
    let itself = std::env::current_exe().unwrap();
    let output = Command::new(itself).args([OF, &lots.to_string()]).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).trim().parse().ok()
}

pub(crate) fn run(size: Size) {
    let Some(empty) = peak(0) else {
        println!("\nmemory: left out, because this system doesn't tell a process's peak");
        return;
    };
    println!("\nmemory at its peak, above the {:.1} MB of a process without rows", empty / 1024.0);
    let above = |times: u32| peak(times * size.lots).unwrap() - empty;
    let once = above(1);
    for times in [1, 2, 4] {
        let peak = if times == 1 { once } else { above(times) };
        println!("  {times} x rows {:>10.1} MB  {:>6.2} x", peak / 1024.0, peak / once);
        // Twice is grace for the allocator; memory by the square would be 16 times.
        assert!(peak < 2.0 * f64::from(times) * once, "{peak} kB at {times} times, {once} at once");
    }
}
