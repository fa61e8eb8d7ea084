/* What the C files of the kernel share. They are called through ctypes by the modules of the same name, which check every
   array that they hand over; nothing here checks again. */

#ifndef SURVEY_KERNEL_H
#define SURVEY_KERNEL_H

#include <stdint.h>

#if defined(_WIN32)
#define ENTRY __declspec(dllexport)
#else
#define ENTRY __attribute__((visibility("default")))
#endif

/* Functions of long loops are compiled a second time for processors with wider registers; which of the two runs is decided when
   the library is loaded. The results are the same. Not under sanitizers, which that comes too early for. */
#if defined(__x86_64__) && defined(__linux__) && defined(__GNUC__) && !defined(SURVEY_NARROW)
#define WIDE __attribute__((target_clones("avx2", "default")))
#else
#define WIDE
#endif

typedef int64_t index_t;

static inline double dot(const double *a, const double *b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

/* Not fmin and fmax, which decide about what is no number, too, and are called one by one. */
static inline double smaller(double a, double b) { return a < b ? a : b; }
static inline double larger(double a, double b) { return a > b ? a : b; }

#endif
