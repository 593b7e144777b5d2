//! Statements that a connection keeps prepared although diesel would prepare them anew each time.
//!
//! diesel keeps no `UPDATE`, since a changeset can set any of a table's columns and so make ever more
//! statements, and no text of SQL, since that can be made up. Where neither is so, one statement is kept
//! and both databases save reading and planning it. What may not enter: a statement whose text depends
//! on a value.

use diesel::QueryResult;
use diesel::backend::Backend;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};

/// A statement that is kept by its text, which must be the same whatever is bound to it.
pub(crate) struct Kept<Statement>(pub(crate) Statement);

impl<Statement, Database> QueryFragment<Database> for Kept<Statement>
where
    Statement: QueryFragment<Database>,
    Database: Backend,
{
    fn walk_ast<'b>(&'b self, pass: AstPass<'_, 'b, Database>) -> QueryResult<()> {
        self.0.walk_ast(pass)
    }

    fn is_safe_to_cache_prepared(&self, _: &Database) -> QueryResult<bool> {
        Ok(true)
    }
}

impl<Statement> QueryId for Kept<Statement> {
    type QueryId = ();
    /// By its text, so that no two statements can be taken for one another.
    const HAS_STATIC_QUERY_ID: bool = false;
}

impl<Statement: Query> Query for Kept<Statement> {
    type SqlType = Statement::SqlType;
}

impl<Statement, Connection> diesel::RunQueryDsl<Connection> for Kept<Statement> {}
