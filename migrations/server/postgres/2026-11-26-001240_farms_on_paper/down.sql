-- A sign-in for such a farm must not live on as the coordinator's own.
DELETE FROM web_sessions WHERE acts_for IS NOT NULL;
DELETE FROM sign_in_families WHERE acts_for IS NOT NULL;
ALTER TABLE web_sessions DROP COLUMN acts_for;
ALTER TABLE sign_in_families DROP COLUMN acts_for;
DROP TABLE stand_ins;
DROP TABLE farms_on_paper;
