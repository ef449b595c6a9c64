//! The model that causes are weighed with: the default one, or one that a file
//! overrides.

use std::path::PathBuf;

use clap::Args;
use misread::cause::{Model, PriorsError};

use crate::json::Place;
use crate::refusal::Refusal;

/// What causes are weighed with.
#[derive(Args, Clone, Debug)]
pub(crate) struct PriorsArgs {
    /// A file that overrides priors, rates and outcome tables
    #[arg(long, value_name = "FILE")]
    priors: Option<PathBuf>,
}

impl PriorsArgs {
    /// The model.
    ///
    /// # Errors
    ///
    /// A file that cannot be read or makes no sense, with the place.
    pub(crate) fn model(&self) -> Result<Model, Refusal> {
        let Some(path) = &self.priors else { return Ok(Model::default()) };
        let file = Some(path.display().to_string());
        let refuse = |message: String, line, column| {
            Refusal::new(
                message,
                "a priors file, with [causes], [cards], [layouts], [rates], [findings], [capture] \
                 and [tests] as wanted",
            )
            .at(Place { file: file.clone(), line, column, ..Place::default() })
        };
        let text = std::fs::read_to_string(path)
            .map_err(|error| refuse(format!("cannot be read: {error}"), None, None))?;
        Model::default().with_priors(&text).map_err(|error| match error {
            PriorsError::Form { place: Some((line, column)), says } => {
                refuse(says, Some(line as u64), Some(column as u64))
            }
            error => refuse(error.to_string(), None, None),
        })
    }
}
