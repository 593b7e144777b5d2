//! Photos beside offers, holds and claims.

use spareloop_domain::words::PhotoId;

use super::call::{ActKey, CallError, Client};
use crate::photos::PhotoView;

impl Client {
    /// The photos beside what `path` names, as `/offers/{id}`.
    pub fn photos(&self, path: &str) -> Result<Vec<PhotoView>, CallError> {
        self.get(&format!("{path}/photos"), &[])
    }
    /// Puts a photo beside what `path` names, as the file has it.
    pub fn put_photo(
        &self,
        path: &str,
        key: &ActKey,
        photo: PhotoId,
        file: Vec<u8>,
    ) -> Result<PhotoView, CallError> {
        self.act_of_bytes(&format!("{path}/photos?photo={photo}"), key, file)
    }
    /// One photo's picture, a JPEG.
    pub fn picture(&self, photo: PhotoId) -> Result<Vec<u8>, CallError> {
        self.get_bytes(&format!("/photos/{photo}"))
    }
    /// Takes a photo back.
    pub fn remove_photo(&self, key: &ActKey, photo: PhotoId) -> Result<(), CallError> {
        self.act_silent(&format!("/photos/{photo}/remove"), key, &serde_json::json!({}))
    }
}
