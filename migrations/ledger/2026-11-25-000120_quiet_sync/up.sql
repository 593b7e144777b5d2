-- What the server's summary said when it was last asked what is promised; unchanged, nobody asks.
ALTER TABLE link ADD COLUMN promised_mark TEXT;
-- Stamps more than a day (86 400 000 ms) ahead of the server's clock are few and looked for often.
CREATE INDEX entries_far_ahead ON entries (id) WHERE at_millis > taken_at + 86400000;
