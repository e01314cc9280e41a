#include "server/record/recordable.hpp"

#include "server/pipeline/station/pipeline.hpp"
#include "server/record/format/layout.hpp"

namespace turnstone {

std::string why_not_recordable(const PipelineSetup& setup) {
    return why_not_recordable(Pipeline(setup, 0).schema());
}

} // namespace turnstone
