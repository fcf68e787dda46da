//! Loops over many numbers, compiled once more for processors with wider registers and run there.
//!
//! The operations and their order are the same on every processor, and so are the bits: a product and a sum are never made
//! one operation that rounds once.

/// Work that gains from wide registers. All that it calls in its loops must be inlined into it.
pub(crate) trait Wide {
    /// What comes out of it.
    type Out;
    /// Does it; to be inlined always.
    fn work(self) -> Self::Out;
}

struct Op<W>(W);

impl<W: Wide> pulp::WithSimd for Op<W> {
    type Output = W::Out;

    #[inline(always)]
    fn with_simd<S: pulp::Simd>(self, _: S) -> W::Out {
        self.0.work()
    }
}

/// Does work with the widest registers of this processor.
pub(crate) fn wide<W: Wide>(work: W) -> W::Out {
    pulp::Arch::new().dispatch(Op(work))
}
