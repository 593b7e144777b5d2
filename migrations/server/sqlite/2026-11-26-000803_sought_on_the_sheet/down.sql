DROP INDEX wants_sheet_unit;
DROP INDEX wants_sheet_variety;
DROP INDEX offers_sheet_both;
DROP INDEX offers_sheet_unit;
DROP INDEX offers_sheet_variety;
