//! Lists in pages.

use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::desk::problem::Problem;

/// Most items of one page.
const MOST: usize = 1000;

/// Which page of a list.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct Paging {
    /// Most items to answer with, 1 to 1000; 100 without.
    limit: Option<usize>,
    /// `next` of the page before; from the beginning without.
    after: Option<String>,
}

/// One page of a list.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct Page<T> {
    /// The items.
    pub(super) items: Vec<T>,
    /// What to give as `after` for the next page; none at the end.
    pub(super) next: Option<String>,
}

impl Paging {
    /// Items of one page.
    pub(super) fn limit(&self) -> usize {
        self.limit.unwrap_or(100).clamp(1, MOST)
    }

    /// Where the page begins, if not at the beginning.
    ///
    /// # Errors
    /// It is not what a page before gave.
    pub(super) fn after<T>(&self, read: impl FnOnce(&str) -> Option<T>) -> Result<Option<T>, Problem> {
        let Some(after) = &self.after else { return Ok(None) };
        let place =
            read(after).ok_or_else(|| Problem::wrong("`after` must be the `next` of the page before"))?;
        Ok(Some(place))
    }
}

impl<T> Page<T> {
    /// The first `limit` of `items`, which are one longer if there is more; `key` says where each lies.
    pub(super) fn first(mut items: Vec<T>, limit: usize, key: impl FnOnce(&T) -> String) -> Self {
        let more = items.len() > limit;
        items.truncate(limit);
        let next = if more { items.last().map(key) } else { None };
        Self { items, next }
    }
}
