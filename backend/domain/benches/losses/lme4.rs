//! The same fit by R's lme4, where both are installed.

use std::collections::BTreeMap;
use std::io::Write;
use std::process::{Command, Stdio};

use spareloop_domain::fit::log_likelihood;

use crate::ours::Ours;
use crate::winter::{GROUPS, Invented};

/// What another program prints when it is given `input`; `None` if it isn't there or lacks what it needs
/// (status 77).
pub(crate) fn asked(program: &str, script: &str, input: &str) -> Option<String> {
    let folder = format!("{}/benches/losses", env!("CARGO_MANIFEST_DIR"));
    let mut child = Command::new(program)
        .arg(format!("{folder}/{script}"))
        // As many threads as we take.
        .envs([("OPENBLAS_NUM_THREADS", "1"), ("OMP_NUM_THREADS", "1")])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .ok()?;
    // One that gives up before it has read everything says why by its status.
    let _ = child.stdin.take()?.write_all(input.as_bytes());
    let output = child.wait_with_output().unwrap();
    if output.status.code() == Some(77) {
        return None;
    }
    assert!(output.status.success(), "{program} {script} failed: {}", output.status);
    Some(String::from_utf8(output.stdout).unwrap())
}

pub(crate) fn run(invented: &Invented, ours: &Ours) {
    let Some(printed) = asked("Rscript", "lme4.R", &invented.table()) else {
        println!("\nlme4: left out, because R or its lme4 is not installed (tests/setup.sh bench)");
        return;
    };
    let theirs: BTreeMap<&str, &str> =
        printed.lines().filter_map(|line| line.split_once(' ')).collect();
    let number = |what: &str| theirs[what].parse::<f64>().unwrap();
    let (height, top) = (number("log_likelihood"), ours.fitted.optimum.unwrap().log_likelihood);
    let sd = GROUPS.map(number);
    println!("\nlme4 {}", theirs["said"]);
    println!("  fit                                        {:>10.3} s", number("seconds"));
    println!("  log likelihood {height:.4}, ours less theirs {:+.4}", top - height);
    println!("  μ {:.4}, sd of {sd:.4?} and lots {:.4}", number("log_hazard"), number("lot"));
    println!("  our fit is {:.1} times as fast", number("seconds") / ours.fit_seconds);
    let at_theirs = log_likelihood(&ours.data, &sd, number("lot"), number("log_hazard")).unwrap();
    assert!(
        (at_theirs - height).abs() < 0.01,
        "another function: {at_theirs} where lme4 has {height}"
    );
    assert!(top >= height - 0.01, "{top} is below lme4's {height}");
}
