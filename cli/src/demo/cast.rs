//! The twelve invented farms, with the spreadsheets of `cli/demo/` inside the program.

/// One kind of file and its content.
pub(super) struct Sheet {
    /// What `spareloop import` calls it.
    pub kind: &'static str,
    /// The file as the farm saved it.
    pub bytes: &'static [u8],
}

/// One invented farm.
pub(super) struct Part {
    /// Its name.
    pub name: &'static str,
    /// Its sheets, in the order in which they are imported.
    pub sheets: &'static [Sheet],
    /// How it writes dates, where its files don't show it.
    pub date_order: Option<&'static str>,
}

macro_rules! sheet {
    ($folder:literal, $kind:literal) => {
        Sheet {
            kind: $kind,
            bytes: include_bytes!(concat!("../../demo/", $folder, "/", $kind, ".csv")),
        }
    };
}

macro_rules! with_bench_sheet {
    ($name:literal, $folder:literal, $order:expr) => {
        Part {
            name: $name,
            sheets: &[
                sheet!($folder, "lifted"),
                sheet!($folder, "bench"),
                sheet!($folder, "checks"),
                sheet!($folder, "plan"),
            ],
            date_order: $order,
        }
    };
}

/// Everybody.
pub(super) const CAST: &[Part] = &[
    with_bench_sheet!("Thrushgate", "thrushgate", None),
    with_bench_sheet!("Quillmarsh", "quillmarsh", None),
    with_bench_sheet!("Ottercombe", "ottercombe", Some("day-first")),
    with_bench_sheet!("Fennelrigg", "fennelrigg", None),
    with_bench_sheet!("Larkhusk", "larkhusk", None),
    with_bench_sheet!("Dunmallow", "dunmallow", None),
    with_bench_sheet!("Windlestow", "windlestow", None),
    with_bench_sheet!("Marrowby", "marrowby", None),
    with_bench_sheet!("Pennywhin", "pennywhin", None),
    with_bench_sheet!("Cobblehythe", "cobblehythe", None),
    with_bench_sheet!("Saltersey", "saltersey", None),
    Part {
        name: "Brackenholm",
        sheets: &[
            sheet!("brackenholm", "stock"),
            sheet!("brackenholm", "checks"),
            sheet!("brackenholm", "plan"),
        ],
        date_order: None,
    },
];
