// Package deliver turns finished pictures into the files a recipient gets.
//
// A delivery sheet holds the recipient's rules. A picture (linear light, sRGB
// primaries) is cut to the sheet's ratio, reduced in linear light, sharpened for
// its new size, dithered to 8 bits and coded at the highest quality that stays
// under the sheet's byte limit, with its profile and its metadata inside. Beside
// the pictures stand a gallery page and a contact sheet.
package deliver
