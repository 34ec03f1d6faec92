/// Anything that turns a source signal into the drive sent to a panel.
///
/// Implementors are evaluated from many threads at once and give the same answer whatever their number.
pub trait Correction: Send + Sync {
    /// The drive for `signal`; both are RGB with a nominal range of 0 to 1.
    ///
    /// Total: a signal out of range or NaN is answered like the nearest one in range (NaN: the low end).
    fn drive(&self, signal: [f64; 3]) -> [f64; 3];
}

impl<C: Correction + ?Sized> Correction for &C {
    fn drive(&self, signal: [f64; 3]) -> [f64; 3] {
        (**self).drive(signal)
    }
}
