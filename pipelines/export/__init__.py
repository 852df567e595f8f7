"""Records of read photos in the formats that archives use, one file a format."""
