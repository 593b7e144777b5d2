//! Everything out: the whole book without loss, and tables for spreadsheets.
//!
//! ```text
//! lines     the lines of a whole book, as written and read back
//! whole     a book -> its lines, streamed
//! place     standard output, or a file that is whole or not there
//! sheets    tables of a book, one module each
//! table     headings, and cells that know what they are
//! csv, xlsx a table as every spreadsheet program reads it
//! neutral   text that a spreadsheet program would take for a formula
//! ```
//!
//! What may not enter: rules of the trade; what can't be seen in the book.

pub mod csv;
pub mod lines;
pub mod neutral;
pub mod place;
pub mod sheets;
pub mod table;
pub mod whole;
pub mod xlsx;
