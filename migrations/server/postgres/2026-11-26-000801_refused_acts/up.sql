-- An act that was refused stays refused under its key: a copy of it that was held up on the way must
-- not do later what its sender was told is not done.
ALTER TABLE idempotency ADD COLUMN refusal TEXT;
