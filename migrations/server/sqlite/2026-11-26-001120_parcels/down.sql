DROP TABLE parcels;
