#include "server/setup/sensor_remarks.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>
#include <variant>

#include <fmt/format.h>

namespace turnstone {

namespace {

struct Place {
    std::string name; ///< "imu.accel_x"
    const Field* field;
};

std::vector<Place> places_of(const Dictionary& dictionary, Role role) {
    std::vector<Place> out;
    for (const ChannelTable& table : dictionary.tables)
        for (const Channel& channel : table.channels)
            if (channel.role == role && !channel.is_text())
                out.push_back({table.name + "." + channel.name, channel.field});
    return out;
}

/// Readings that the field's bits can hold; none: that depends on more than the field, or it holds anything.
std::optional<std::pair<double, double>> held_by(const Field& field) {
    const bool is_signed = field.type == FieldType::signed_integer;
    if ((!is_signed && field.type != FieldType::unsigned_integer) || field.coding != IntegerCoding::plain ||
        field.calibration_slot != kNoSlot)
        return std::nullopt;
    LinearCalibration line{1, 0};
    if (const auto* linear = std::get_if<LinearCalibration>(&field.calibration))
        line = *linear;
    else if (!std::holds_alternative<std::monostate>(field.calibration))
        return std::nullopt;
    const double half = std::ldexp(1.0, static_cast<int>(field.bit_width) - 1);
    const double low = line.offset + line.gain * (is_signed ? -half : 0);
    const double high = line.offset + line.gain * (is_signed ? half - 1 : 2 * half - 1);
    return std::pair(std::min(low, high), std::max(low, high));
}

void say_narrow(const VehicleSetup& vehicle, Role role, double range, std::string_view setting, std::string_view unit,
                std::vector<std::string>& out) {
    constexpr double kRounding = 0.99; // a field of as many steps as the sensor has ends one step below its range
    for (const Place& place : places_of(vehicle.dictionary, role)) {
        const auto held = held_by(*place.field);
        if (!held || (held->first <= -kRounding * range && held->second >= kRounding * range)) continue;
        out.push_back(
            fmt::format("{} holds {:.4g} to {:.4g} {}, less than the {} of vehicle.json, {:.4g}: it will clip "
                        "before the sensor does",
                        place.name, held->first, held->second, unit, setting, range));
    }
}

} // namespace

std::vector<std::string> sensor_remarks(const VehicleSetup& vehicle) {
    std::vector<std::string> out;
    const SensorNoise& sensors = vehicle.vehicle.sensors;
    const auto accelerometers = places_of(vehicle.dictionary, Role::accel_body_x);
    if (accelerometers.size() == 2) {
        const auto end = [&](const Place& place) {
            return place.field->valid_range ? place.field->valid_range->second : sensors.accel_range_mps2;
        };
        const Place *low = &accelerometers[0], *high = &accelerometers[1];
        if (end(*low) > end(*high)) std::swap(low, high);
        out.push_back(end(*low) < end(*high)
                          ? fmt::format("two accelerometers: {} is used up to nine tenths of {:.4g} m/s2, then {}",
                                        low->name, end(*low), high->name)
                          : fmt::format("two accelerometers, {} and {}, of one range as far as is told: only the first "
                                        "is used; give each the \"valid_range\" of its sensor",
                                        low->name, high->name));
    }
    const auto barometers = places_of(vehicle.dictionary, Role::static_pressure);
    if (barometers.size() == 2)
        out.push_back(fmt::format("two barometers: {} is used, and {} where that one fails", barometers[0].name,
                                  barometers[1].name));
    if (accelerometers.size() == 1)
        for (const Role role : {Role::accel_body_x, Role::accel_body_y, Role::accel_body_z})
            say_narrow(vehicle, role, sensors.accel_range_mps2, "accel_range_mps2", "m/s2", out);
    return out;
}

} // namespace turnstone
