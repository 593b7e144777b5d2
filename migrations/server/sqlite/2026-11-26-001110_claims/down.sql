DROP VIEW owed_book;
DROP TABLE claim_postings;
DROP TABLE claims;
