//! Tests of the readers on small files made here.

use super::*;
use crate::error::NoProgress;
