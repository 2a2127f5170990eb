DROP TABLE layout_sensors, layouts, vehicle_sensors, vehicles, customers;
