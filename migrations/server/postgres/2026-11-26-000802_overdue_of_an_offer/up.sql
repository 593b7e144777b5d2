-- Every act on an offer asks which of its holds are overdue; with many holds that live, few are.
CREATE INDEX holds_offer_lapses_at ON holds (offer, lapses_at);
DROP INDEX holds_offer;
