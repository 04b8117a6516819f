"""What does the law ask? Rule packs as data, their evaluation by the regulatory day, headroom and notices."""
