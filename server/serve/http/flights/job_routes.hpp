#pragma once
/// /api/jobs and /api/jobs/{id}. Serve thread; touches no file.
#include "server/serve/http/answer.hpp"
#include "server/serve/jobs.hpp"

namespace turnstone {

class JobRoutes {
  public:
    /// `jobs` must outlive it.
    explicit JobRoutes(Jobs& jobs) : jobs_(jobs) {}

    /// POST /api/jobs
    [[nodiscard]] Answer begin(const Request& request);
    /// GET and DELETE /api/jobs/{id}
    [[nodiscard]] Answer one(const Request& request);

  private:
    [[nodiscard]] Answer look(const std::string& id);

    Jobs& jobs_;
};

} // namespace turnstone
