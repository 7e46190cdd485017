//! The branch a request is about: amounts are in its currency, measures in its units.

use forenoon_store::entity::branch;

use crate::work::{self, Error};

use super::services::State;

impl State {
    /// The branch with this id, where the request's name of it could be read at all.
    pub(super) async fn branch(&self, id: Option<&str>) -> Result<Option<branch::Model>, Error> {
        match id {
            None => Ok(None),
            Some(id) => work::branch::get(self.database.read(), id).await.map(Some),
        }
    }
}
