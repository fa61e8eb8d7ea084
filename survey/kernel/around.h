/* The ways around, line by line as survey/propagation/around/ states them: its modules section, search, string, unfold, windows
   and plane have a C file each, with the same names in the same order. Constants are held to those of Python by a test. */

#ifndef SURVEY_AROUND_H
#define SURVEY_AROUND_H

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "kernel.h"

#define PI 3.14159265358979323846

/* section.py */
#define JOINT_M 0.0203
#define TOUCH_M 1e-6
/* search.py */
#define MAX_STRINGS 8
#define MAX_STEPS 400
#define MAX_CORNERS 6
#define MARGIN_DB 10.0
#define MAX_LOSS_DB 75.0
#define LEAST_TURN 1e-9
/* string.py */
#define FULL_NU -1.8
#define LEAST_NU -2.4
#define FACING 0.35
#define OPAQUE_DB 20.0
#define STEEP 0.5
#define FLUSH_NU 0.78
#define SHUT_M 0.02
#define OPEN_M 0.10
/* unfold.py */
#define MAX_BOUNCES 4
#define PARALLEL 0.2
/* windows.py */
#define MAX_STATIONS 10
#define MAX_GROWTH 4.0
#define STRAIGHT_GROWTH 2.0
#define MAX_IMAGES 3
#define MAX_PHASE 60.0
#define CLOSEST 0.3
/* plane.py */
#define LEAST_POWER 1e-9
/* quadrature.py */
#define NODES 24
#define SPAN_NODES 40

#define ROOM_STATIONS (MAX_CORNERS + 2 * MAX_BOUNCES + MAX_STATIONS) /* at most, of any string */

typedef struct { double re, im; } complex_t;
typedef struct { double x, y; } place_t;
typedef struct { double hard, soft; } powers_t;

typedef struct {
    double x1, y1, x2, y2, loss_db, dx, dy, size_m; /* direction and length, from `join` */
    index_t sheet;
} Segment;

typedef struct {
    double dx, dy;
    int segment;
} Arm;

typedef struct {
    double x, y, loss_db, outer; /* the angle outside in half turns, see outer_angle; negative until asked for */
    const Arm *arms;
    int first_arm, arm_count;
    bool flat;
} Corner;

/* Segments of the cut of a plane with their corners. */
typedef struct {
    Segment *segments;
    int (*ends)[2];
    int count, room, ends_room;
    Corner *corners;
    int corner_count, corner_room;
    Arm *arms;
    int arm_count, arm_room;
} Section;

/* Which segments belong to something: those of a corner's arms, or a single one. */
typedef struct {
    const Arm *arms;
    int count, single;
} Members;

/* A string, or the beginning of one, as its last leg and what it continues. */
typedef struct {
    double bound_db, length_m, through_db;
    int before, corner, corner_count; /* -1 for nothing before; corner -1 is the end of the line */
    int first_passed, passed_count;   /* what that leg passes */
} Step;

typedef struct {
    double bound_db, length_m, through_db;
    int corners[MAX_CORNERS], corner_count, step;
} Path;

typedef struct {
    int corner, side;
    double loss_db;
} Grazed;

typedef struct {
    double at_m, off_m, turn, weight, gain, nu;
    int corner;
    bool left;
    Members segments;
    place_t tangent;
    double image[2];
} Edge;

/* Room for what is worked out on the way, used again for each string, plane and line. */
typedef struct {
    Step *steps;
    int step_count, step_room;
    int *open;
    int open_count, open_room;
    int *passed; /* segments */
    int passed_count, passed_room;
    Grazed *grazed;
    int grazed_room;
    int *useful;
    int useful_room;
    Edge *beside;
    int beside_room;
    Path found[MAX_STRINGS];
    int found_count;
} Scratch;

typedef struct {
    double at_m, low_m, high_m, turn, weight, gain, image, image_turn;
} Station;

typedef struct { double left, right; } Face;

typedef struct {
    const double *points, *weights, *span_points, *span_weights;
} Quadrature;

/* What arrives along one string. */
typedef struct {
    const Path *path;
    complex_t hard, soft;
    powers_t more; /* what bounces between walls on the way, of no known phase */
    place_t leave, arrive;
    bool left;
} Arrival;

/* section.c */
bool make_room(void *items, int *room, int wanted, size_t size);
bool join(Section *section);
int leg_losses(const Section *section, Scratch *scratch, place_t from, place_t to, int from_corner, int to_corner, double most_db,
               double *loss_db);

/* search.c */
double edge_loss_db(double nu);
bool search(const Section *section, Scratch *scratch, double length_m, double wavelength_m);

/* string.c */
double smooth(double share);
double wedge_gain(double turn_rad, double outer);
double outer_angle(Section *section, int corner);
bool holds(Members one, int segment);
bool share_one(Members one, Members other);
Members members_of(const Section *section, int corner);
void image_at(Section *section, int corner, place_t before, place_t beyond, double turn_rad, double wavelength_m, double image[2]);
int edges_along(Section *section, Scratch *scratch, const Path *path, const place_t *points, int point_count, double wavelength_m,
                Edge *edges, double *factor);
int stations_of(Section *section, const Edge *edges, int edge_count, double total_m, double wavelength_m, Station *stations, Face *faces);

/* unfold.c */
powers_t unfolded_powers(Section *section, const Quadrature *quadrature, const Path *path, double length_m, double wavelength_m);

/* windows.c */
double obliquity(double slant);
void field(const Quadrature *quadrature, const Station *stations, const Face *faces, int count, double length_m, double wavelength_m,
           complex_t *hard, complex_t *soft);

/* plane.c */
int arrivals(Section *section, Scratch *scratch, const Quadrature *quadrature, double length_m, double wavelength_m, Arrival *found);
powers_t joined_power(const Arrival *const *ways, int count);

static inline double power_of(complex_t amplitude) { return amplitude.re * amplitude.re + amplitude.im * amplitude.im; }

static inline place_t corner_place(const Section *section, int corner)
{
    place_t at = {section->corners[corner].x, section->corners[corner].y};
    return at;
}

static inline double apart(place_t one, place_t other)
{
    double dx = other.x - one.x, dy = other.y - one.y;
    return sqrt(dx * dx + dy * dy);
}

#endif
