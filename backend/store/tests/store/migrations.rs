//! The tables come, go and come again, and are the same on both databases.

use std::collections::BTreeSet;
use std::path::PathBuf;

use diesel::connection::SimpleConnection;
use diesel::sql_types::Text;
use diesel::{Connection, PgConnection, QueryableByName, RunQueryDsl, SqliteConnection, sql_query};

fn folder(database: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../migrations/server").join(database)
}

fn names(database: &str) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder(database))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

fn script(database: &str, name: &str, file: &str) -> String {
    std::fs::read_to_string(folder(database).join(name).join(file)).unwrap()
}

fn up(connection: &mut impl SimpleConnection, database: &str) {
    for name in names(database) {
        connection.batch_execute(&script(database, &name, "up.sql")).unwrap();
    }
}

fn down(connection: &mut impl SimpleConnection, database: &str) {
    for name in names(database).iter().rev() {
        connection.batch_execute(&script(database, name, "down.sql")).unwrap();
    }
}

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

fn lines<C>(connection: &mut C, sql: &str) -> BTreeSet<String>
where
    C: Connection + diesel::connection::LoadConnection,
    diesel::query_builder::SqlQuery: diesel::query_builder::QueryFragment<C::Backend>,
    Line: diesel::deserialize::FromSqlRow<diesel::sql_types::Untyped, C::Backend>,
    for<'q> diesel::query_builder::SqlQuery:
        diesel::query_dsl::methods::LoadQuery<'q, C, Line> + diesel::query_builder::QueryId,
{
    let lines: Vec<Line> = sql_query(sql).load(connection).unwrap();
    lines.into_iter().map(|line| line.line).collect()
}

// TEXT holds times on SQLite, by what diesel writes there.
const SQLITE: &str = "SELECT m.name || '.' || c.name || ' ' || \
        CASE WHEN c.name GLOB '*_at' OR c.name IN ('at', 'since') THEN 'time' \
             WHEN c.type = 'INTEGER' THEN 'number' WHEN c.type = 'BLOB' THEN 'file' ELSE 'text' END || \
        CASE WHEN m.type = 'table' AND c.\"notnull\" THEN ' always' ELSE '' END AS line \
    FROM sqlite_schema m JOIN pragma_table_info(m.name) c \
    WHERE m.type IN ('table', 'view') AND m.name NOT LIKE 'sqlite_%'";
const POSTGRES: &str = "SELECT c.table_name || '.' || c.column_name || ' ' || \
        CASE c.data_type WHEN 'timestamp without time zone' THEN 'time' \
             WHEN 'bigint' THEN 'number' WHEN 'bytea' THEN 'file' WHEN 'text' THEN 'text' \
             ELSE 'unportable ' || c.data_type END || \
        CASE WHEN t.table_type = 'BASE TABLE' AND c.is_nullable = 'NO' THEN ' always' ELSE '' END \
        AS line \
    FROM information_schema.columns c \
    JOIN information_schema.tables t USING (table_schema, table_name) \
    WHERE c.table_schema = 'public'";
const SQLITE_UNIQUE: &str = "SELECT m.name || ' (' || (SELECT group_concat(name, ', ') FROM \
        (SELECT name FROM pragma_index_info(i.name) ORDER BY seqno)) || ')' AS line \
    FROM sqlite_schema m JOIN pragma_index_list(m.name) i \
    WHERE m.type = 'table' AND i.\"unique\"";
const POSTGRES_UNIQUE: &str = "SELECT t.relname || ' (' || (SELECT string_agg(a.attname, ', ' \
        ORDER BY array_position(x.indkey::int[], a.attnum::int)) FROM pg_attribute a \
        WHERE a.attrelid = t.oid AND a.attnum = ANY(x.indkey)) || ')' AS line \
    FROM pg_index x JOIN pg_class t ON t.oid = x.indrelid \
    JOIN pg_namespace n ON n.oid = t.relnamespace \
    WHERE n.nspname = 'public' AND x.indisunique";
const SQLITE_REFERS: &str = "SELECT m.name || '.' || f.\"from\" || ' -> ' || f.\"table\" AS line \
    FROM sqlite_schema m JOIN pragma_foreign_key_list(m.name) f WHERE m.type = 'table'";
const POSTGRES_REFERS: &str = "SELECT c.relname || '.' || a.attname || ' -> ' || f.relname AS line \
    FROM pg_constraint x JOIN pg_class c ON c.oid = x.conrelid \
    JOIN pg_class f ON f.oid = x.confrelid \
    JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = ANY(x.conkey) WHERE x.contype = 'f'";

#[test]
fn both_databases_have_the_same_migrations_each_with_a_way_back() {
    assert_eq!(names("sqlite"), names("postgres"));
    assert!(names("sqlite").len() >= 3);
}

#[test]
fn the_tables_come_go_and_come_again_and_are_the_same_on_both() {
    let mut sqlite = SqliteConnection::establish(":memory:").unwrap();
    sqlite.batch_execute("PRAGMA foreign_keys = ON").unwrap();
    let (base, name) = crate::common::make_database();
    let mut postgres = PgConnection::establish(&crate::common::address(&base, &name)).unwrap();

    up(&mut sqlite, "sqlite");
    up(&mut postgres, "postgres");
    let columns = lines(&mut sqlite, SQLITE);
    assert!(columns.contains("offers.count number always"), "{columns:#?}");
    assert!(columns.contains("people.farm text"), "{columns:#?}");
    assert!(columns.contains("hold_now.state text"), "{columns:#?}");
    assert_eq!(columns, lines(&mut postgres, POSTGRES));
    let single = lines(&mut sqlite, SQLITE_UNIQUE);
    assert!(single.contains("entries (farm, device, seq)"), "{single:#?}");
    assert_eq!(single, lines(&mut postgres, POSTGRES_UNIQUE));
    let refers = lines(&mut sqlite, SQLITE_REFERS);
    assert!(refers.contains("holds.offer -> offers"), "{refers:#?}");
    assert_eq!(refers, lines(&mut postgres, POSTGRES_REFERS));

    down(&mut sqlite, "sqlite");
    down(&mut postgres, "postgres");
    assert_eq!(lines(&mut sqlite, SQLITE), BTreeSet::new());
    assert_eq!(lines(&mut postgres, POSTGRES), BTreeSet::new());

    up(&mut sqlite, "sqlite");
    up(&mut postgres, "postgres");
    assert_eq!(lines(&mut sqlite, SQLITE), columns);
    assert_eq!(lines(&mut postgres, POSTGRES), columns);

    drop(postgres);
    let mut connection = PgConnection::establish(&base).unwrap();
    sql_query(format!("DROP DATABASE {name} WITH (FORCE)")).execute(&mut connection).unwrap();
}

#[test]
fn sqlite_refuses_what_a_column_can_not_hold() {
    let mut sqlite = SqliteConnection::establish(":memory:").unwrap();
    up(&mut sqlite, "sqlite");
    let tables = "SELECT name AS line FROM sqlite_schema \
        WHERE type = 'table' AND sql NOT LIKE '%STRICT'";
    assert_eq!(lines(&mut sqlite, tables), BTreeSet::new(), "every table is STRICT");
}
