//! What happened in the simulation.

/// What happened in all scripts.
#[derive(Default, Debug)]
pub struct Counts {
    pub edits: usize,
    pub crashes: usize,
    pub cuts: usize,
    pub frames: usize,
    pub lost: usize,
    pub repeated: usize,
    pub overtaken: usize,
    pub receipts: usize,
    /// Changes that phones had before they were on a server's disk.
    pub early: usize,
    /// Rounds of delivery from mended to level, at most.
    pub longest: usize,
}

impl Counts {
    pub fn add(&mut self, more: &Self) {
        self.edits += more.edits;
        self.crashes += more.crashes;
        self.cuts += more.cuts;
        self.frames += more.frames;
        self.lost += more.lost;
        self.repeated += more.repeated;
        self.overtaken += more.overtaken;
        self.receipts += more.receipts;
        self.early += more.early;
        self.longest = self.longest.max(more.longest);
    }

    /// A run in which something never happened says nothing of it.
    pub fn each_at_least_once(&self) {
        let Self { edits, crashes, cuts, lost, repeated, receipts, early, .. } = self;
        assert!([edits, crashes, cuts, lost, repeated, receipts, early].iter().all(|it| **it > 0), "{self:?}");
    }
}
