/// Why a LUT was not repaired.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum RepairError {
    /// The LUT has no lattice.
    #[error("the LUT holds curves alone; a repair needs a 3D lattice")]
    NoLattice,
}
