/* Exponentials of many numbers at once, without a branch, so that the compiler works several out together. Right to 1e-13. */

#ifndef SURVEY_EXPONENTIAL_H
#define SURVEY_EXPONENTIAL_H

#include <stdint.h>
#include <string.h>

#define ROUNDS_TO_WHOLE 0x1.8p52 /* a number that is added and taken away again leaves the nearest whole one */

static inline uint64_t bits_of(double number)
{
    uint64_t bits;
    memcpy(&bits, &number, sizeof bits);
    return bits;
}

static inline double of_bits(uint64_t bits)
{
    double number;
    memcpy(&number, &bits, sizeof number);
    return number;
}

/* e to a power; powers beyond 700 to either side are taken for 700. */
static inline double exp_of(double x)
{
    x = x < -700.0 ? -700.0 : x;
    x = x > 700.0 ? 700.0 : x;
    double shifted = x * 1.4426950408889634 + ROUNDS_TO_WHOLE, whole = shifted - ROUNDS_TO_WHOLE;
    double r = (x - whole * 0x1.62e42fefa0000p-1) - whole * 0x1.cf79abc9e3b3ap-40;
    double p = 1.0 / 39916800.0;
    p = p * r + 1.0 / 3628800.0;
    p = p * r + 1.0 / 362880.0;
    p = p * r + 1.0 / 40320.0;
    p = p * r + 1.0 / 5040.0;
    p = p * r + 1.0 / 720.0;
    p = p * r + 1.0 / 120.0;
    p = p * r + 1.0 / 24.0;
    p = p * r + 1.0 / 6.0;
    p = p * r + 0.5;
    p = p * r + 1.0;
    p = p * r + 1.0;
    return p * of_bits((bits_of(shifted) << 52) + 0x3ff0000000000000u);
}

/* Cosine and sine of an angle of less than a million. */
static inline void turn_of(double x, double *cosine, double *sine)
{
    double shifted = x * 0.63661977236758134 + ROUNDS_TO_WHOLE, whole = shifted - ROUNDS_TO_WHOLE;
    double r = (x - whole * 0x1.921fb54400000p0) - whole * 0x1.0b4611a626331p-34, s = r * r;
    double c = -1.0 / 87178291200.0, i = 1.0 / 6227020800.0;
    c = c * s + 1.0 / 479001600.0;
    c = c * s - 1.0 / 3628800.0;
    c = c * s + 1.0 / 40320.0;
    c = c * s - 1.0 / 720.0;
    c = c * s + 1.0 / 24.0;
    c = c * s - 0.5;
    c = c * s + 1.0;
    i = i * s - 1.0 / 39916800.0;
    i = i * s + 1.0 / 362880.0;
    i = i * s - 1.0 / 5040.0;
    i = i * s + 1.0 / 120.0;
    i = i * s - 1.0 / 6.0;
    i = (i * s + 1.0) * r;
    uint64_t quarter = bits_of(shifted), other = 0u - (quarter & 1u), one = bits_of(c), two = bits_of(i);
    *cosine = of_bits(((one & ~other) | (two & other)) ^ (((quarter + 1u) & 2u) << 62));
    *sine = of_bits(((two & ~other) | (one & other)) ^ ((quarter & 2u) << 62));
}

#endif
