// Package weather turns what is known of a day's weather into reference
// evapotranspiration, the water a well-watered grass surface would lose.
//
// Methods: FAO-56 Penman-Monteith daily and hourly, the ASCE-EWRI 2005
// standardized short reference daily and hourly, and Hargreaves-Samani where
// only temperatures are known. Anything may be missing: it is then estimated by
// the procedure of FAO-56 chapter 3, and the result says which estimates stood
// in for measurements.
//
// Units: temperatures °C, wind m/s, radiation MJ m⁻² per period (day or hour),
// pressure kPa, heights m, depths mm. Latitude is north-positive and longitude
// east-positive, in degrees. Day of the year counts from 1.
//
// FAO-56 is Allen, Pereira, Raes and Smith 1998, Crop evapotranspiration, FAO
// Irrigation and Drainage Paper 56; equation numbers are its own. ASCE-EWRI is
// Allen et al. 2005, The ASCE Standardized Reference Evapotranspiration
// Equation.
//
// The caller owes times and weather as values: nothing here asks a clock, a
// file or a network.
package weather
