//! Decoded pieces of images, and a store of the last used ones that never holds more than a number of bytes.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

/// A colour as red, green, blue and opacity, each from 0 to 255; the colours are not multiplied by the opacity.
pub type Rgba = [u8; 4];

/// No colour at all.
pub(crate) const CLEAR: Rgba = [0; 4];

/// A decoded piece of an image, row by row from the top.
#[derive(Clone, Debug)]
pub(crate) struct Block {
    pub(crate) cols: usize,
    pub(crate) pixels: Vec<Rgba>,
}

impl Block {
    pub(crate) fn rows(&self) -> usize {
        self.pixels.len() / self.cols.max(1)
    }
    fn bytes(&self) -> usize {
        self.pixels.len() * size_of::<Rgba>()
    }

    /// The block at half its size: each pixel the mean of up to four, weighted by their opacity.
    pub(crate) fn halved(&self) -> Self {
        let rows = self.rows();
        let cols = self.cols.div_ceil(2);
        let mut pixels = Vec::with_capacity(cols * rows.div_ceil(2));
        for row in (0..rows).step_by(2) {
            for col in (0..self.cols).step_by(2) {
                let mut mean = Mean::default();
                for r in row..(row + 2).min(rows) {
                    for c in col..(col + 2).min(self.cols) {
                        mean.add(self.pixels[r * self.cols + c], 1.0);
                    }
                }
                pixels.push(mean.colour());
            }
        }
        Self { cols, pixels }
    }
}

/// A weighted mean of colours in which what is transparent has no say about the colour.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Mean {
    colour: [f32; 3],
    opacity: f32,
    weight: f32,
}

impl Mean {
    pub(crate) fn add(&mut self, pixel: Rgba, weight: f32) {
        let opaque = f32::from(pixel[3]) * weight;
        for (sum, part) in self.colour.iter_mut().zip(pixel) {
            *sum += f32::from(part) * opaque;
        }
        self.opacity += opaque;
        self.weight += weight;
    }
    pub(crate) fn merge(&mut self, other: &Self) {
        for (sum, part) in self.colour.iter_mut().zip(other.colour) {
            *sum += part;
        }
        self.opacity += other.opacity;
        self.weight += other.weight;
    }
    pub(crate) fn colour(&self) -> Rgba {
        if self.opacity <= 0.0 || self.weight <= 0.0 {
            return CLEAR;
        }
        let part = |i: usize| (self.colour[i] / self.opacity + 0.5) as u8;
        [part(0), part(1), part(2), (self.opacity / self.weight + 0.5) as u8]
    }
}

/// Which block: image, level, column and row.
pub(crate) type BlockKey = (u64, usize, usize, usize);

struct Kept {
    block: Option<Arc<Block>>,
    used: u64,
}

#[derive(Default)]
struct Inner {
    kept: HashMap<BlockKey, Kept>,
    by_age: BTreeMap<u64, BlockKey>,
    bytes: usize,
    clock: u64,
}

/// Nothing is held about a block: it has to be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct NotHeld;

/// The last used blocks of any number of images; shared between them and between threads.
pub struct BlockStore {
    most_bytes: usize,
    inner: Mutex<Inner>,
}

impl BlockStore {
    /// What an empty place and the bookkeeping of any block count for, bytes.
    const ENTRY_BYTES: usize = 128;

    /// A store that holds at most so many bytes of pixels, and at least the block used last.
    #[must_use]
    pub fn new(most_bytes: usize) -> Self {
        Self { most_bytes, inner: Mutex::default() }
    }

    /// Bytes held now.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.lock().bytes
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The block, if it is held; `None` where it is known that there is none.
    pub(crate) fn get(&self, key: BlockKey) -> Result<Option<Arc<Block>>, NotHeld> {
        let mut inner = self.lock();
        inner.clock += 1;
        let clock = inner.clock;
        let kept = inner.kept.get_mut(&key).ok_or(NotHeld)?;
        let before = std::mem::replace(&mut kept.used, clock);
        let block = kept.block.clone();
        inner.by_age.remove(&before);
        inner.by_age.insert(clock, key);
        Ok(block)
    }

    pub(crate) fn put(&self, key: BlockKey, block: Option<Arc<Block>>) {
        let size = |b: &Option<Arc<Block>>| Self::ENTRY_BYTES + b.as_ref().map_or(0, |b| b.bytes());
        let mut inner = self.lock();
        inner.clock += 1;
        let clock = inner.clock;
        inner.bytes += size(&block);
        inner.by_age.insert(clock, key);
        if let Some(old) = inner.kept.insert(key, Kept { block, used: clock }) {
            inner.by_age.remove(&old.used);
            inner.bytes -= size(&old.block);
        }
        while inner.bytes > self.most_bytes && inner.kept.len() > 1 {
            let Some((_, oldest)) = inner.by_age.pop_first() else { return };
            if let Some(dropped) = inner.kept.remove(&oldest) {
                inner.bytes -= size(&dropped.block);
            }
        }
    }
}

impl Default for BlockStore {
    /// 192 MB: three screens full of tiles of 256 pixels at two scales.
    fn default() -> Self {
        Self::new(192 << 20)
    }
}

impl std::fmt::Debug for BlockStore {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("BlockStore").field("most_bytes", &self.most_bytes).finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn block(pixels: usize, shade: u8) -> Arc<Block> {
        Arc::new(Block { cols: 1, pixels: vec![[shade; 4]; pixels] })
    }

    proptest! {
        #[test]
        fn the_store_stays_within_its_bytes_and_gives_back_what_was_put(
            puts in prop::collection::vec((0usize..20, 0usize..60), 1..200),
        ) {
            let store = BlockStore::new(2_000);
            for (i, (key, size)) in puts.iter().enumerate() {
                store.put((1, 0, *key, 0), (*size > 0).then(|| block(*size, i as u8)));
                prop_assert!(store.bytes() <= 2_000);
                let held = store.get((1, 0, *key, 0)).unwrap();
                prop_assert_eq!(held.map_or(0, |b| b.pixels.len()), *size);
            }
        }
    }

    #[test]
    fn the_block_unused_for_longest_goes_first() {
        let store = BlockStore::new(3 * (400 + BlockStore::ENTRY_BYTES));
        for col in 0..3 {
            store.put((0, 0, col, 0), Some(block(100, 0)));
        }
        assert!(store.get((0, 0, 0, 0)).is_ok());
        store.put((0, 0, 3, 0), Some(block(100, 0)));
        assert!(store.get((0, 0, 1, 0)).is_err());
        assert!(store.get((0, 0, 0, 0)).is_ok());
    }

    #[test]
    fn what_is_transparent_does_not_darken_its_neighbours() {
        let mut mean = Mean::default();
        mean.add([200, 100, 50, 255], 1.0);
        mean.add([0, 0, 0, 0], 1.0);
        assert_eq!(mean.colour(), [200, 100, 50, 128]);
        let half = Block { cols: 3, pixels: vec![[9, 9, 9, 255]; 9] }.halved();
        assert_eq!((half.cols, half.rows()), (2, 2));
        assert!(half.pixels.iter().all(|p| *p == [9, 9, 9, 255]));
    }
}
