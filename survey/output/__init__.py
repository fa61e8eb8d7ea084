"""What people and scripts read: tables, JSON, pictures, the page for the job file."""
