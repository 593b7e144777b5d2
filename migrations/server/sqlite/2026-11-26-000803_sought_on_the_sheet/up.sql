-- A page of the sheet of one variety, of one unit kind, or both, however long the sheet is.
CREATE INDEX offers_sheet_variety ON offers (network, state, variety_key, id);
CREATE INDEX offers_sheet_unit ON offers (network, state, unit, id);
CREATE INDEX offers_sheet_both ON offers (network, state, variety_key, unit, id);
CREATE INDEX wants_sheet_variety ON wants (network, state, variety_key, id);
CREATE INDEX wants_sheet_unit ON wants (network, state, unit, id);
