#pragma once
/// Air data and vertical motion of a vehicle that is not a rocket (a balloon, a drone, a car, a boat, a weather
/// station): what the translation filter knows of up and down, and the tables "air" and "vertical".
///
/// Altitude above the pad by pressure counts from where the vehicle stood at first. Until it leaves that place (it
/// climbed, drove off or moves faster than walking, each beyond what the sensors' sigmas allow) the reference follows
/// the weather; from then on it stays.
#include <cstdint>
#include <optional>
#include <vector>

#include "server/estimate/air/pad_reference.hpp"
#include "server/estimate/chain/picture.hpp"
#include "server/estimate/measurements.hpp"
#include "server/estimate/table.hpp"
#include "server/estimate/translation/translation_filter.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

/// Up and down of a translation; valid where it knows them.
[[nodiscard]] VerticalEstimate vertical_of(const TranslationEstimate& translation);

class PlainMotion {
  public:
    /// Appends its tables to `tables`; both others are read during construction only.
    PlainMotion(const Vehicle& vehicle, const Site& site, bool has_pressure, std::vector<TableDescription>& tables);

    void pressure(const PressureSample& sample, TranslationFilter& translation, EstimateSink& sink);
    /// After a measurement of `t_ns`, or a tick.
    void write(std::int64_t t_ns, TranslationFilter& translation, EstimateSink& sink);

  private:
    double pressure_noise_pa_;
    PadReferenceTracker pad_;
    bool left_ = false;
    std::int64_t t_pressure_ns_ = 0, t_row_ns_ = 0;
    RowWriter<VerticalEstimate> vertical_;
    std::optional<RowWriter<AirPicture>> air_;
};

} // namespace turnstone::estimate
