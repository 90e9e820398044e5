"""What a load will take, by its plate or by a log, and whether bank and inverter hold."""
