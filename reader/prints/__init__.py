"""What old prints and scans need before they are read: pictures on album pages, printers' screens, negatives."""
