DROP TABLE payments;
DROP TABLE hold_prices;
ALTER TABLE offers DROP COLUMN open_to;
