//! Where things stood that were taken away, so that an undone deletion puts them back there.

use super::edit::Identified;
use std::any::Any;
use std::collections::HashMap;
use std::sync::Arc;

/// For each thing that was taken away, what stood after it.
#[derive(Clone, Debug, Default)]
pub struct GonePlaces {
    gone: Arc<HashMap<(&'static str, String), Gone>>,
}

#[derive(Clone, Debug)]
struct Gone {
    thing: Thing,
    /// The identifier of the thing after it; `None` where it was the last.
    next: Option<String>,
}

/// One thing, whatever its kind: the very same, and not another with its identifier.
#[derive(Clone, Debug)]
pub(crate) struct Thing(Arc<dyn Any + Send + Sync>);

impl Thing {
    pub(crate) fn of<T: Send + Sync + 'static>(thing: &Arc<T>) -> Self {
        Self(Arc::clone(thing) as Arc<dyn Any + Send + Sync>)
    }
    pub(crate) fn is<T: Send + Sync + 'static>(&self, thing: &Arc<T>) -> bool {
        Arc::ptr_eq(&self.0, &Self::of(thing).0)
    }
}

impl GonePlaces {
    /// Notes that a thing was taken away, and what stood after it.
    pub(super) fn left<T: Identified + Send + Sync + 'static>(&mut self, thing: &Arc<T>, next: Option<String>) {
        let gone = Gone { thing: Thing::of(thing), next };
        Arc::make_mut(&mut self.gone).insert((T::WHAT, thing.id().to_owned()), gone);
    }

    /// What stood after a thing that comes back; `None` for one that is new or was the last.
    pub(super) fn next_of<T: Identified + Send + Sync + 'static>(&self, thing: &Arc<T>) -> Option<&str> {
        let gone = self.gone.get(&(T::WHAT, thing.id().to_owned()))?;
        gone.next.as_deref().filter(|_| gone.thing.is(thing))
    }
}
