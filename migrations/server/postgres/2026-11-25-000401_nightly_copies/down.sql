DROP TABLE nightly_copies;
