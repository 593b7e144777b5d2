ALTER TABLE idempotency DROP COLUMN refusal;
