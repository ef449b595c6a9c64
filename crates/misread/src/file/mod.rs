//! Layout files, the catalogue of layouts, and tables of reads.
