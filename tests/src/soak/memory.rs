//! Memory of a process as its operating system tells it.

/// Resident memory of a process (this one without a number), KiB; `None` where there
/// is no `/proc`.
#[must_use]
pub fn resident(pid: Option<u32>) -> Option<u64> {
    let whose = pid.map_or_else(|| "self".to_owned(), |pid| pid.to_string());
    let status = std::fs::read_to_string(format!("/proc/{whose}/status")).ok()?;
    // "VmRSS:     1234 kB" (proc_pid_status(5); from memory)
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    line.split_whitespace().next()?.parse().ok()
}

/// Samples of one process, from when it is warm: a tenth of the run.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Samples {
    /// The first of them, KiB.
    pub warm: Option<u64>,
    /// The last, KiB.
    pub end: Option<u64>,
    /// The most, KiB.
    pub most: Option<u64>,
}

impl Samples {
    /// Takes one, `share` of the run being over.
    pub fn take(&mut self, share: f64, pid: Option<u32>) {
        if share < 0.1 {
            return;
        }
        self.end = resident(pid);
        self.warm = self.warm.or(self.end);
        self.most = self.most.max(self.end);
    }

    /// By how much it grew at most, KiB.
    #[must_use]
    pub fn grew(&self) -> Option<u64> {
        Some(self.most?.saturating_sub(self.warm?))
    }
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_shows() {
        let mut samples = Samples::default();
        samples.take(0.0, None);
        assert_eq!(samples.grew(), None);
        samples.take(0.5, None);
        // Other tests of this process take and let go memory of their own meanwhile.
        let kept = vec![1_u8; 256 << 20];
        samples.take(0.6, None);
        let grew = samples.grew().expect("there is /proc");
        assert!(grew > 128 << 10, "{grew} KiB with {} kept", kept.len());
        assert!(resident(Some(std::process::id())).is_some());
    }
}
