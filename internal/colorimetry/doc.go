// Package colorimetry turns colours as they are sent into colours as they are
// seen, and says how far apart two of them are: sRGB (IEC 61966-2-1), XYZ and
// CIELAB (ISO/CIE 11664). CIELAB values are relative to D50.
package colorimetry
