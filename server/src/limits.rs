//! Rates: how much one phone or address may ask for.

use std::time::Duration;

use tokio::time::Instant;

/// A token bucket: `burst` at once, `per_second` in the long run.
#[derive(Clone, Copy, Debug)]
pub struct Bucket {
    burst: f64,
    per_second: f64,
    tokens: f64,
    filled: Instant,
}

impl Bucket {
    pub fn new(burst: f64, per_second: f64, now: Instant) -> Self {
        Self { burst, per_second, tokens: burst, filled: now }
    }

    /// Takes `cost` when the bucket holds that much; takes nothing otherwise.
    pub fn try_take(&mut self, cost: f64, now: Instant) -> bool {
        self.fill(now);
        let enough = self.tokens >= cost;
        if enough {
            self.tokens -= cost;
        }
        enough
    }

    /// Takes `cost`, into debt if need be.
    pub fn take(&mut self, cost: f64, now: Instant) {
        self.fill(now);
        self.tokens -= cost;
    }

    /// When the bucket is out of debt.
    pub fn ready(&self) -> Instant {
        if self.tokens >= 0.0 {
            return self.filled;
        }
        self.filled + Duration::from_secs_f64(-self.tokens / self.per_second)
    }

    /// Whether nothing has been taken for so long that the bucket can be forgotten.
    pub fn is_full(&mut self, now: Instant) -> bool {
        self.fill(now);
        self.tokens >= self.burst
    }

    fn fill(&mut self, now: Instant) {
        let passed = now.saturating_duration_since(self.filled).as_secs_f64();
        self.tokens = (self.tokens + passed * self.per_second).min(self.burst);
        self.filled = now;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_burst_passes_and_then_the_steady_rate() {
        let start = Instant::now();
        let mut bucket = Bucket::new(3.0, 2.0, start);
        let taken = (0..5).filter(|_| bucket.try_take(1.0, start)).count();
        assert_eq!(taken, 3);
        let later = start + Duration::from_secs(1);
        let taken = (0..5).filter(|_| bucket.try_take(1.0, later)).count();
        assert_eq!(taken, 2);
    }

    #[test]
    fn debt_says_when_to_go_on() {
        let start = Instant::now();
        let mut bucket = Bucket::new(10.0, 5.0, start);
        bucket.take(20.0, start);
        assert_eq!(bucket.ready(), start + Duration::from_secs(2));
        assert!(!bucket.is_full(start + Duration::from_secs(2)));
        assert!(bucket.is_full(start + Duration::from_secs(4)));
    }
}
