//! Where things stood that were taken away, so that an undone deletion puts them back there.

use super::edit::Identified;
use std::any::Any;
use std::collections::HashMap;
use std::sync::Arc;

/// For each thing that was taken away, what stood after it.
#[derive(Clone, Debug, Default)]
pub struct Places {
    gone: Arc<HashMap<(&'static str, String), Gone>>,
}

#[derive(Clone, Debug)]
struct Gone {
    /// The very thing: another one with its identifier is new.
    thing: Arc<dyn Any + Send + Sync>,
    /// The identifier of the thing after it; `None` where it was the last.
    next: Option<String>,
}

impl Places {
    /// Notes that a thing was taken away, and what stood after it.
    pub(super) fn left<T: Identified + Send + Sync + 'static>(&mut self, thing: &Arc<T>, next: Option<String>) {
        let gone = Gone { thing: Arc::clone(thing) as Arc<dyn Any + Send + Sync>, next };
        Arc::make_mut(&mut self.gone).insert((T::WHAT, thing.id().to_owned()), gone);
    }

    /// What stood after a thing that comes back; `None` for one that is new or was the last.
    pub(super) fn next_of<T: Identified + Send + Sync + 'static>(&self, thing: &Arc<T>) -> Option<&str> {
        let gone = self.gone.get(&(T::WHAT, thing.id().to_owned()))?;
        let same = Arc::ptr_eq(&gone.thing, &(Arc::clone(thing) as Arc<dyn Any + Send + Sync>));
        gone.next.as_deref().filter(|_| same)
    }
}
