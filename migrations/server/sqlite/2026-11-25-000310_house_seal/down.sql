DROP TABLE house_seal;
