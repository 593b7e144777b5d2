CREATE INDEX holds_offer ON holds (offer);
DROP INDEX holds_offer_lapses_at;
